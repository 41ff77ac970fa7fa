import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { openBrowser } from './browser.js';
import { type ServiceProcess, startServiceProcess, stopAllServices } from './service.js';

const BOTH_HANDS = readFileSync('config/simulated-hands.yaml', 'utf8');

let service: ServiceProcess;
let browser: Browser;
let address: string;
beforeAll(async () => {
  [service, browser] = await Promise.all([startServiceProcess(BOTH_HANDS), openBrowser()]);
  address = `http://127.0.0.1:${service.port}/demos`;
}, 120_000);
afterAll(async () => {
  await browser?.close();
  await stopAllServices();
});

const axe = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');
/** What axe-core finds. */
async function barriers(page: Page): Promise<string[]> {
  await page.evaluate(axe);
  return page.evaluate(async () => {
    const { axe } = globalThis as unknown as {
      axe: { run(): Promise<{ violations: { id: string }[] }> };
    };
    const { violations } = await axe.run();
    return violations.map(({ id }) => id);
  });
}

/** A demo, and whatever goes wrong in it. */
async function openDemo(
  name: string,
  viewport: { width: number; height: number },
  reducedMotion: 'reduce' | 'no-preference' = 'no-preference',
): Promise<{ page: Page; troubles: string[] }> {
  const page = await browser.newPage({ viewport, reducedMotion });
  // Not where pictures are read: one is there only until its frame ends.
  if (name === 'catch' || name === 'keys') await page.addInitScript(drawLess);
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

  it('a ball is thrown from hand to hand and caught, without force and with it', async () => {
    const { page, troubles } = await openDemo('catch', viewport);
    const score = () => page.textContent('#score');
    const ball = (state: string) =>
      page.waitForFunction((wanted) => document.body.dataset.ball === wanted, state, { timeout: 60_000 });
    await ball('held');
    await ball('flying');
    await keep(page, `catch-${width}`);
    await expect.poll(score, { timeout: 60_000 }).toMatch(/caught [1-9]/);
    expect(await page.textContent('#how')).toMatch(/^Without force. To arm: .*tautline arm/);
    await service.arm();
    await expect.poll(() => page.textContent('#how')).toBe('');
    // Fingers are stopped around the ball, by this demo, as the service reports.
    const app = await service.connect();
    await app.ask({ type: 'subscribe', streams: ['resistance'] });
    await app.until(
      (m) => m.type === 'resistance' && Object.values(m.fingers).some(({ effort, by }) => effort > 0 && by),
    );
    app.ws.close();
    await page.keyboard.press('Escape');
    await expect.poll(async () => (await fetchArmed()).armed).toBe(false);
    expect(await barriers(page)).toEqual([]);
    expect(troubles).toEqual([]);
    await page.close();
  }, 180_000);

  it('keys sound once for each press, and stop fingers once armed', async () => {
    const { page, troubles } = await openDemo('keys', viewport);
    const downs = () => page.locator('.keys li[data-down="true"]').count();
    await expect.poll(downs, { timeout: 40_000 }).toBeGreaterThan(1);
    await keep(page, `keys-${width}`);
    await expect.poll(downs, { timeout: 40_000 }).toBe(0);
    await service.arm();
    await expect
      .poll(() => page.evaluate(() => document.body.dataset.hold), { timeout: 40_000 })
      .toBe('held');
    // Without keys, the simulated hand closes beyond 0.9; here its fingers stay where the keys are down.
    const app = await service.connect();
    await app.ask({ type: 'subscribe', streams: ['resistance'] });
    await app.until(
      (m) =>
        m.type === 'resistance' &&
        m.hand === 'right' &&
        ['middle', 'ring', 'little'].some((name) => {
          const { curl, stopAt, effort, by } = m.fingers[name as 'middle'] ?? {};
          return effort! > 0 && by !== undefined && stopAt! < 0.35 && curl! >= stopAt! && curl! < 0.4;
        }),
    );
    app.ws.close();
    await keep(page, `keys-held-${width}`);
    await page.keyboard.press('Escape');
    await expect.poll(async () => (await fetchArmed()).armed).toBe(false);
    expect(await barriers(page)).toEqual([]);
    expect(troubles).toEqual([]);
    await page.close();
  }, 180_000);
});

it('the list of demos leads to each of them', async () => {
  const { page, troubles } = await openDemo('index', { width: 390, height: 800 });
  const links = await page.locator('main a').evaluateAll((all) => all.map((a) => a.getAttribute('href')!));
  expect(links.sort()).toEqual(['catch.html', 'draw.html', 'keys.html', 'squeeze.html']);
  for (const link of links) expect((await fetch(`${address}/${link}`)).status).toBe(200);
  expect(await barriers(page)).toEqual([]);
  expect(troubles).toEqual([]);
  await page.close();
});

it('the hands of the ball are moved by keys alone', async () => {
  const { page } = await openDemo('catch', { width: 900, height: 700 }, 'reduce');
  await page.waitForFunction(() => document.body.dataset.ball === 'lying');
  const at = () =>
    page.evaluate(() => (document.body.dataset.hands ?? '').split(' ').map((part) => Number(part)));
  const before = await at();
  await page.getByRole('button', { name: 'Left hand' }).focus();
  await page.keyboard.press('Enter');
  expect(await page.getAttribute('[data-hand="left"]', 'aria-pressed')).toBe('true');
  for (let i = 0; i < 3; i++) await page.keyboard.press('ArrowUp');
  await expect.poll(async () => (await at())[1] - before[1]).toBeCloseTo(0.06, 5);
  // The right hand stayed, and the ball comes to the hand that was chosen.
  expect((await at())[3]).toBeCloseTo(before[3], 5);
  await page.getByRole('button', { name: /Ball back/ }).focus();
  await page.keyboard.press('Space');
  await expect.poll(() => page.textContent('#state')).toMatch(/left hand|flies/);
  await page.close();
}, 120_000);

it('the sliders of the keys are moved by keys alone, and what is felt follows', async () => {
  const { page } = await openDemo('keys', { width: 900, height: 700 });
  await page.waitForSelector('.keys li');
  await page.focus('#travel');
  for (let i = 0; i < 3; i++) await page.keyboard.press('ArrowRight');
  expect(await page.getAttribute('#travel', 'aria-valuetext')).toBe('9 mm');
  await page.focus('#weight');
  await page.keyboard.press('Home');
  expect(await page.getAttribute('#weight', 'aria-valuetext')).toBe('light');
  await page.focus('#sound');
  await page.keyboard.press('Enter');
  expect(await page.getAttribute('#sound', 'aria-pressed')).toBe('true');
  await page.close();
}, 60_000);

it('with less motion, a ball does not spin and keys do not fade', async () => {
  const turning = async (motion: 'reduce' | 'no-preference') => {
    const { page } = await openDemo('catch', { width: 500, height: 500 }, motion);
    await page.waitForFunction(() => document.body.dataset.ball === 'flying', undefined, { timeout: 60_000 });
    await page.waitForFunction(() => document.body.dataset.ball !== 'flying', undefined, { timeout: 60_000 });
    const spun = await page.evaluate(() => Number(document.body.dataset.spun));
    await page.close();
    return spun;
  };
  expect(await turning('reduce')).toBe(0);
  expect(await turning('no-preference')).toBeGreaterThan(0);
}, 180_000);

/** Pictures are drawn by the processor here: a third of a display's rate leaves it for what is tested. */
function drawLess(): void {
  const request = window.requestAnimationFrame.bind(window);
  window.requestAnimationFrame = (draw) => window.setTimeout(() => request(draw), 35);
}

async function fetchArmed(): Promise<{ armed: boolean }> {
  const answer = await fetch(`http://127.0.0.1:${service.port}/health`);
  return ((await answer.json()) as { gloves: { armed: boolean }[] }).gloves[0];
}

/** Screenshots are kept where SCREENSHOTS says, for people to look at. */
async function keep(page: Page, name: string): Promise<void> {
  const folder = process.env.SCREENSHOTS;
  if (folder) await page.screenshot({ path: `${folder}/${name}.png` });
}
