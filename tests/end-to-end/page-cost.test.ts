import type { Browser, Page } from 'playwright-core';
import { afterAll, afterEach, beforeAll, expect, it } from 'vitest';
import { type HostGlove, startHostGlove } from '../firmware/host-glove.js';
import { openBrowser, openPage } from './browser.js';
import { hidePage, showPage } from './hidden-page.js';
import { hostGloveProfile, type ServiceProcess, startServiceProcess, stopAllServices } from './service.js';

/** The page does nothing while nothing changes, and next to nothing while nobody sees it. */

let browser: Browser;
/** Draws the hand flat: as often as a graphics card would, on a busy machine too. */
let flat: Browser;
let host: HostGlove;
let live: ServiceProcess;
let still: ServiceProcess;
let none: ServiceProcess;

beforeAll(async () => {
  host = await startHostGlove();
  [browser, flat, live, still, none] = await Promise.all([
    openBrowser(),
    openBrowser({ webgl: false }),
    startServiceProcess(),
    startServiceProcess(hostGloveProfile(host.pty)),
    startServiceProcess(hostGloveProfile('/dev/tautline-nowhere')),
  ]);
}, 60_000);
afterEach(async () => {
  for (const context of [...browser.contexts(), ...flat.contexts()]) await context.close();
});
afterAll(async () => {
  await Promise.all([browser.close(), flat.close()]);
  await stopAllServices();
  await host.quit();
});

/** Counts from now on: frames asked for, drawings of the hand, of charts, changes of elements. */
async function count(page: Page): Promise<() => Promise<Record<string, number>>> {
  await page.evaluate(`(() => {
    const counted = (window.counted = { frames: 0, picture: 0, charts: 0, changes: 0 });
    const spy = (on, name, kindOf) => {
      const was = on[name];
      on[name] = function (...given) { counted[kindOf(this)]++; return was.apply(this, given); };
    };
    spy(window, 'requestAnimationFrame', () => 'frames');
    spy(WebGL2RenderingContext.prototype, 'drawElements', () => 'picture');
    spy(CanvasRenderingContext2D.prototype, 'clearRect', ({ canvas }) => canvas.closest('.picture') ? 'picture' : 'charts');
    const observer = new MutationObserver((all) => { counted.changes += all.length; });
    observer.observe(document, { subtree: true, childList: true, attributes: true, characterData: true });
  })()`);
  return () => page.evaluate('({ ...window.counted })');
}

const SECONDS = 4;

it.each(['bench', 'signals', 'touch'])(
  'without a glove, %s draws nothing and asks for hardly a frame',
  async (part) => {
    const { page, complaints } = await openPage(browser, none.port, part);
    await page.waitForFunction(() => document.querySelector('.first-steps .card, .panels') !== null);
    await page.waitForTimeout(4000);
    const counts = await count(page);
    await page.waitForTimeout(SECONDS * 1000);
    const { frames, picture, charts, changes } = await counts();
    expect({ picture, charts }).toEqual({ picture: 0, charts: 0 });
    // The state of the link comes once or twice a second, and its reason may change.
    expect(frames).toBeLessThan(5 * SECONDS);
    expect(changes).toBeLessThan(10 * SECONDS);
    expect(complaints).toEqual([]);
  },
  60_000,
);

/** What the page asked the service for. */
async function asksFor(port: number): Promise<{ streams: string[] } | undefined> {
  const health = await (await fetch(`http://127.0.0.1:${port}/health`)).json();
  const { apps } = health as { apps: { name?: string; streams: string[] }[] };
  return apps.find(({ name }) => name === 'Bench page');
}

it('does next to nothing for a hand at rest, noise or not, and all again as soon as it moves', async () => {
  const { page } = await openPage(flat, still.port);
  await expect
    .poll(() => page.locator('.bench-part .chip .condition').allTextContents(), { timeout: 20_000 })
    .toEqual(Array(5).fill('Sensed'));
  const network = await page.context().newCDPSession(page);
  let messages = 0;
  network.on('Network.webSocketFrameReceived', () => messages++);
  await network.send('Network.enable');
  const counts = await count(page);
  /** Of each, so many a second. */
  const rates = async () => {
    const [before, heard] = [await counts(), messages];
    await page.waitForTimeout(2000);
    const { frames, picture, charts, changes } = await counts();
    return {
      frames: (frames - before.frames) / 2,
      picture: (picture - before.picture) / 2,
      charts: (charts - before.charts) / 2,
      changes: (changes - before.changes) / 2,
      messages: (messages - heard) / 2,
    };
  };
  // Sparklines move until they are full. Where the machine is busy and samples come late, a finger may be unknown for a
  // moment, and is looked at more closely: it is enough that there is peace when there is.
  const most = { frames: 16, picture: 1, charts: 3, changes: 20, messages: 16 };
  await expect
    .poll(async () => Object.entries(await rates()).filter(([of, a]) => a > most[of as keyof typeof most]), {
      timeout: 50_000,
    })
    .toEqual([]);
  await host.command('ramp index.curl 0.8 1500');
  const { messages: heard, picture, charts } = await rates();
  expect(heard).toBeGreaterThan(60);
  expect(picture).toBeGreaterThan(3);
  expect(charts).toBeGreaterThan(3);
  await expect
    .poll(() => page.locator('.bench-part .chip[data-finger="index"] .curl').textContent(), {
      timeout: 10_000,
    })
    .toMatch(/^(7[5-9]|8[0-5]) %$/);
  await host.command('ramp index.curl 0 400');
}, 90_000);

it('takes no poses while it is hidden, still knows of arming and faults, and has the hand at once when it is seen', async () => {
  const { page, complaints } = await openPage(browser, live.port);
  const streams = async (): Promise<string[]> => (await asksFor(live.port))?.streams ?? [];
  await expect.poll(streams).toContain('joints');
  await hidePage(page);
  await expect.poll(streams).toEqual(['health', 'resistance']);
  await live.arm('right');
  await page.waitForSelector('.armbar[data-state="armed"]', { state: 'attached' });
  await page.keyboard.press('Escape');
  await page.waitForSelector('.armbar[data-state="free"]', { state: 'attached' });
  const backMs = await showPage(page);
  // A frame or two where nothing else runs (scripts/page-figures.ts); here, no more than a glance.
  expect(backMs).toBeLessThan(1000);
  await expect.poll(streams).toContain('joints');
  const curls = page.locator('.bench-part .chip .curl');
  const before = await curls.allTextContents();
  await expect.poll(() => curls.allTextContents(), { timeout: 10_000 }).not.toEqual(before);
  expect(complaints).toEqual([]);
}, 60_000);
