import { type Browser, chromium, type Page } from 'playwright-core';
import { needBrowser } from '../requirements.js';

/** Software rendering, no network beyond the page, one window. */
export const FLAGS = [
  '--no-sandbox',
  '--disable-quic',
  '--no-first-run',
  '--disable-background-networking',
  '--disable-component-update',
  '--disable-sync',
  '--disable-gpu-compositing',
  '--use-gl=angle',
  '--use-angle=swiftshader',
  '--enable-unsafe-swiftshader',
];

const NO_WEBGL = ['--disable-gpu', '--disable-3d-apis'];

export interface OpenPage {
  page: Page;
  /** Errors that the page threw or logged, and requests that left the service. */
  complaints: string[];
}

/**
 * A real browser for one test file.
 * @param webgl false: one that gives its pages no WebGL, as where drivers are on its list of bad ones
 */
export async function openBrowser({ webgl = true } = {}): Promise<Browser> {
  const args = webgl ? FLAGS : [...FLAGS.filter((flag) => !/swiftshader|use-gl/.test(flag)), ...NO_WEBGL];
  return chromium.launch({ executablePath: await needBrowser(), headless: true, args });
}

export interface PageOptions {
  width?: number;
  height?: number;
  colorScheme?: 'light' | 'dark';
  /** A phone: fingers in place of a mouse. */
  touch?: boolean;
}

/** The service's page in a profile of its own, watched for errors and for requests to anywhere else. */
export async function openPage(
  browser: Browser,
  port: number,
  part = 'bench',
  { width = 900, height = 640, colorScheme = 'light', touch = false }: PageOptions = {},
): Promise<OpenPage> {
  const context = await browser.newContext({
    viewport: { width, height },
    colorScheme,
    hasTouch: touch,
    isMobile: touch,
  });
  const page = await context.newPage();
  await page.addInitScript(drawLess);
  const complaints: string[] = [];
  page.on('pageerror', ({ message }) => complaints.push(message));
  page.on('console', (message) => {
    // A service that went away is part of a test.
    const expected = /ERR_CONNECTION_(REFUSED|RESET)|WebSocket connection/.test(message.text());
    if (message.type() === 'error' && !expected) complaints.push(message.text());
  });
  page.on('request', (request) => {
    const url = new URL(request.url());
    if (url.port !== String(port) && !['data:', 'blob:'].includes(url.protocol)) complaints.push(url.href);
  });
  await page.goto(`http://127.0.0.1:${port}/#${part}`);
  await page.waitForSelector('.status[data-connected="true"]');
  return { page, complaints };
}

/** Pictures are drawn by the processor here: a third of a display's rate leaves it for what is tested. */
function drawLess(): void {
  const request = window.requestAnimationFrame.bind(window);
  window.requestAnimationFrame = (draw) => window.setTimeout(() => request(draw), 35);
  window.cancelAnimationFrame = (id) => window.clearTimeout(id);
}
