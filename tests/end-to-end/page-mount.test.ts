import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, expect, it, onTestFinished } from 'vitest';
import { turnBy } from '../../src/hand/rotation.js';
import { startHostGlove } from '../firmware/host-glove.js';
import { createMountMotion } from '../guide/mount-motion.js';
import { angleBetweenDeg, apartM, compose, inverse } from '../hand/mount-wearer.js';
import { openBrowser, openPage } from './browser.js';
import { MOUNT_MOVES, touchSeenBy } from './mount-wearer.js';
import { hostGloveProfile, startServiceProcess, stopAllServices } from './service.js';

let browser: Browser;
beforeAll(async () => {
  browser = await openBrowser();
});
afterAll(async () => {
  await browser.close();
  await stopAllServices();
});

const MOUNT = Float64Array.of(0.02, 0.05, 0.06, ...turnBy([0, 0, 0, 1], [-0.7, 0.2, 2.2]));

it('leads through the fit of a tracker, and uses it', async () => {
  const host = await startHostGlove(['--rate', '100']);
  const service = await startServiceProcess(hostGloveProfile(host.pty));
  onTestFinished(async () => {
    await service.stop();
    await host.quit();
  });
  for (const finger of ['thumb', 'index', 'middle', 'ring', 'little'])
    await host.command(`ramp ${finger}.curl 0.3 300`);
  const { page } = await openPage(browser, service.port, 'fit');
  onTestFinished(async () => void (await page.close()));
  await page.waitForFunction(() => document.querySelector('.status')?.textContent?.includes('Hz'));
  const begin = page.getByRole('button', { name: 'Fit the tracker' });
  await begin.click();
  await page.waitForSelector('text=Nothing says where a tracker on this hand is');

  const app = await service.connect();
  await app.ask({ type: 'subscribe', streams: ['joints'], rateHz: 30 });
  const motion = createMountMotion('right');
  const touchOf = touchSeenBy(app);
  let at = -1;
  let sinceMs = performance.now();
  const timer = setInterval(() => {
    const wrist = motion.wristAt(MOUNT_MOVES[at] ?? 'rest', (performance.now() - sinceMs) / 1000, touchOf);
    const tracker = compose(wrist, inverse(MOUNT));
    const [position, orientation] = [[...tracker.subarray(0, 3)], [...tracker.subarray(3)]];
    app.send({ type: 'tracker', hand: 'right', of: 'tracker', position, orientation });
  }, 11);
  onTestFinished(() => clearInterval(timer));
  await app.until((m) => m.type === 'ack' && m.for === 'tracker');

  await begin.click();
  const run = page.locator('.guide-run');
  await run.waitFor();
  while (await run.isVisible()) {
    const text = (await page.textContent('.guide-run .lead')) ?? '';
    const number = Number(/Tracker: move (\d) of 7/.exec(text)?.[1] ?? 0) - 1;
    if (number !== at) {
      at = number;
      sinceMs = performance.now();
    }
    await page.waitForTimeout(50);
  }
  await page.waitForSelector('text=The place of the tracker is found');
  await page.getByRole('button', { name: 'Use it' }).click();
  await page.waitForSelector('text=In use for');
  const welcome = (await app.until(
    (m) => m.type === 'welcome' && (m.hands as { mount?: number[] }[])[0].mount !== undefined,
  )) as unknown as { hands: { mount: number[] }[] };
  expect(angleBetweenDeg(welcome.hands[0].mount, MOUNT)).toBeLessThan(8);
  expect(apartM(welcome.hands[0].mount, MOUNT)).toBeLessThan(0.015);
  await page.waitForSelector('.fits :text("mount of the tracker")');
  // The bench says who places the hand now; a part that is not seen says nothing.
  await page.keyboard.press('1');
  await page.waitForFunction(() =>
    /^Placed by .+, by a tracker on the glove: \d+ ms old, noise /.test(
      document.querySelector('.bench-hand p.wrist')?.textContent ?? '',
    ),
  );
}, 180_000);
