import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { openBrowser } from './browser.js';
import { type ServiceProcess, startServiceProcess, stopAllServices } from './service.js';

let service: ServiceProcess;
let browser: Browser;
let address: string;
beforeAll(async () => {
  [service, browser] = await Promise.all([startServiceProcess(), openBrowser()]);
  address = `http://127.0.0.1:${service.port}/demos`;
}, 120_000);
afterAll(async () => {
  await browser?.close();
  await stopAllServices();
});

const axe = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');
/** What axe-core finds that is serious or critical. */
async function barriers(page: Page): Promise<string[]> {
  await page.evaluate(axe);
  return page.evaluate(async () => {
    const { axe } = globalThis as unknown as {
      axe: { run(): Promise<{ violations: { id: string; impact: string }[] }> };
    };
    const { violations } = await axe.run();
    return violations.filter(({ impact }) => /serious|critical/.test(impact)).map(({ id }) => id);
  });
}

/** A demo, and whatever goes wrong in it. */
async function openDemo(
  name: string,
  viewport: { width: number; height: number },
): Promise<{ page: Page; troubles: string[] }> {
  const page = await browser.newPage({ viewport });
  const troubles: string[] = [];
  page.on('console', (message) => {
    if (message.type() === 'error') troubles.push(message.text());
  });
  page.on('pageerror', (error) => troubles.push(String(error)));
  page.on('requestfailed', (request) => troubles.push(`${request.url()} failed`));
  // Browsers ask for it by themselves.
  await page.route('**/favicon.ico', (route) => route.fulfill({ status: 204 }));
  await page.goto(`${address}/${name}.html`);
  return { page, troubles };
}

/** How many different colours a canvas shows. */
const colours = (page: Page, canvas: string) =>
  page.evaluate(
    (selector) =>
      new Promise<number>((resolve) =>
        requestAnimationFrame(() => {
          const source = document.querySelector<HTMLCanvasElement>(selector)!;
          const copy = document.createElement('canvas');
          copy.width = copy.height = 64;
          const context = copy.getContext('2d')!;
          context.drawImage(source, 0, 0, 64, 64);
          const { data } = context.getImageData(0, 0, 64, 64);
          const seen = new Set<number>();
          for (let i = 0; i < data.length; i += 4) {
            seen.add((data[i] << 24) | (data[i + 1] << 16) | (data[i + 2] << 8) | data[i + 3]);
          }
          resolve(seen.size);
        }),
      ),
    canvas,
  );

describe.each([1280, 390])('at %i px', (width) => {
  const viewport = { width, height: 800 };

  it('the drawing toy draws what the inputs say', async () => {
    const { page, troubles } = await openDemo('draw', viewport);
    await page.waitForFunction(() => document.querySelector('#state')!.textContent!.includes('trigger'));
    await expect.poll(() => colours(page, '#paper'), { timeout: 40_000 }).toBeGreaterThan(10);
    await keep(page, `draw-${width}`);
    await page.click('#clear');
    expect(await barriers(page)).toEqual([]);
    expect(troubles).toEqual([]);
    await page.close();
  }, 120_000);

  it('the squeezing toy shows the hand, and stops fingers once armed', async () => {
    const { page, troubles } = await openDemo('squeeze', viewport);
    const state = () => page.textContent('#state');
    await page.waitForFunction(() => document.querySelector('#state')!.textContent!.includes('disarmed'));
    await expect.poll(() => colours(page, '#view'), { timeout: 40_000 }).toBeGreaterThan(20);
    // An app does not arm: it says how the wearer does.
    expect(await page.textContent('#how')).toMatch(/^To arm: .*tautline arm/);
    await service.arm();
    await page.waitForFunction(() => document.querySelector('#state')!.textContent!.endsWith('held'));
    expect(await page.isVisible('#how')).toBe(false);
    expect(await state()).toContain('right hand: held');
    const app = await service.connect();
    await app.ask({ type: 'subscribe', streams: ['resistance'] });
    await app.until((m) => m.type === 'resistance' && (m.fingers.index?.effort ?? 0) > 0);
    app.ws.close();
    await keep(page, `squeeze-${width}`);
    await page.keyboard.press('Escape');
    await page.waitForFunction(() => document.querySelector('#state')!.textContent!.includes('disarmed'));
    expect((await fetchArmed()).armed).toBe(false);
    expect(await barriers(page)).toEqual([]);
    expect(troubles).toEqual([]);
    await page.close();
  }, 120_000);
});

async function fetchArmed(): Promise<{ armed: boolean }> {
  const answer = await fetch(`http://127.0.0.1:${service.port}/health`);
  return ((await answer.json()) as { gloves: { armed: boolean }[] }).gloves[0];
}

/** Screenshots are kept where SCREENSHOTS says, for people to look at. */
async function keep(page: Page, name: string): Promise<void> {
  const folder = process.env.SCREENSHOTS;
  if (folder) await page.screenshot({ path: `${folder}/${name}.png` });
}
