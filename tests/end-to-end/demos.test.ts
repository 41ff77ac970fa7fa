import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { openPage, startBrowser } from '../browser.js';
import { type ServiceProcess, startServiceProcess, stopAllServices } from './service.js';

let service: ServiceProcess;
let browser: Browser;
let address: string;
beforeAll(async () => {
  [service, browser] = await Promise.all([startServiceProcess(), startBrowser()]);
  address = `http://127.0.0.1:${service.port}/demos`;
}, 120_000);
afterAll(async () => {
  await browser?.close();
  await stopAllServices();
});

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
    const { page, troubles } = await openPage(browser, `${address}/draw.html`, viewport);
    await page.waitForFunction(() => document.querySelector('#state')!.textContent!.includes('trigger'));
    await expect.poll(() => colours(page, '#paper'), { timeout: 40_000 }).toBeGreaterThan(10);
    await keep(page, `draw-${width}`);
    await page.click('#clear');
    expect(troubles).toEqual([]);
    await page.close();
  });

  it('the squeezing toy shows the hand, and stops fingers once armed', async () => {
    const { page, troubles } = await openPage(browser, `${address}/squeeze.html`, viewport);
    const state = () => page.textContent('#state');
    await page.waitForFunction(() => document.querySelector('#state')!.textContent!.includes('disarmed'));
    await expect.poll(() => colours(page, '#view'), { timeout: 40_000 }).toBeGreaterThan(20);
    // A short press must not arm.
    await page.click('#arm');
    expect((await fetchArmed()).armed).toBe(false);
    await page.focus('#arm');
    await page.keyboard.down('Enter');
    await page.waitForFunction(() => document.querySelector('#state')!.textContent!.endsWith('held'));
    await page.keyboard.up('Enter');
    expect(await state()).toContain('right hand: held');
    const app = await service.connect();
    await app.ask({ type: 'subscribe', streams: ['resistance'] });
    await app.until((m) => m.type === 'resistance' && (m.fingers.index?.effort ?? 0) > 0);
    app.ws.close();
    await keep(page, `squeeze-${width}`);
    await page.keyboard.press('Escape');
    await page.waitForFunction(() => document.querySelector('#state')!.textContent!.includes('disarmed'));
    expect((await fetchArmed()).armed).toBe(false);
    expect(troubles).toEqual([]);
    await page.close();
  });
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
