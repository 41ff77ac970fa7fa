import { existsSync } from 'node:fs';
import chromium from '@sparticuz/chromium';
import { type Browser, chromium as driver, type Page } from 'playwright-core';
import { need } from './requirements.js';

/** WebGL in software, for machines without a graphics card. */
const ARGS = [
  '--no-sandbox',
  '--no-zygote',
  '--use-gl=angle',
  '--use-angle=swiftshader',
  '--enable-unsafe-swiftshader',
  '--ignore-gpu-blocklist',
  '--force-color-profile=srgb',
];

/**
 * Starts a real Chromium: the one inside the package @sparticuz/chromium where it runs (Linux on x64), else the
 * system's, which is installed or asked for in one line.
 */
export async function startBrowser(): Promise<Browser> {
  let executablePath = '/usr/bin/chromium';
  if (process.platform === 'linux' && process.arch === 'x64') {
    executablePath = await chromium.executablePath();
    need(executablePath, 'libnss3', 'libnspr4', 'libexpat1', 'fonts-dejavu-core');
  } else need(existsSync(executablePath) ? executablePath : 'chromium', 'chromium');
  return driver.launch({ executablePath, headless: true, args: ARGS });
}

/** A page that keeps what goes wrong in it: console errors, uncaught exceptions, failed requests. */
export async function openPage(
  browser: Browser,
  url: string,
  viewport = { width: 1280, height: 800 },
): Promise<{ page: Page; troubles: string[] }> {
  const page = await browser.newPage({ viewport });
  const troubles: string[] = [];
  page.on('console', (message) => {
    if (message.type() === 'error') troubles.push(message.text());
  });
  page.on('pageerror', (error) => troubles.push(String(error)));
  page.on('requestfailed', (request) => troubles.push(`${request.url()} failed`));
  await page.goto(url);
  return { page, troubles };
}
