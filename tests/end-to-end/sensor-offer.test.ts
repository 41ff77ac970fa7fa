import { spawn } from 'node:child_process';
import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, expect, it, type TestContext } from 'vitest';
import { turnBy, type Vector } from '../../src/hand/rotation.js';
import { RUNTIME } from '../commands/cli.js';
import { startHostGlove } from '../firmware/host-glove.js';
import { createMountMotion } from '../guide/mount-motion.js';
import { apartM, compose, inverse } from '../hand/mount-wearer.js';
import { openBrowser, openPage } from './browser.js';
import { MOUNT_MOVES, touchSeenBy } from './mount-wearer.js';
import { hostGloveProfile, startServiceProcess, stopAllServices } from './service.js';

/* A fit of the tracker with two sensors that have slipped: it offers to put them right, and the wearer says. */

let browser: Browser;
beforeAll(async () => {
  browser = await openBrowser();
});
afterAll(async () => {
  await browser.close();
  await stopAllServices();
});

const MOUNT = Float64Array.of(0.02, 0.05, 0.06, ...turnBy([0, 0, 0, 1], [-0.7, 0.2, 2.2]));
const BENT = 0.3;
/** Of their range. */
const SLIPPED = 0.08;
const pause = (ms: number) => new Promise((resolve) => setTimeout(resolve, ms));

/** A service with a glove whose index and ring sensors read less than they did, and a wearer who does what it asks. */
async function wearSlipped({ onTestFinished }: TestContext) {
  const host = await startHostGlove(['--rate', '100']);
  const service = await startServiceProcess(hostGloveProfile(host.pty));
  for (const finger of ['thumb', 'index', 'middle', 'ring', 'little'])
    await host.command(`ramp ${finger}.curl ${BENT} 300`);
  const app = await service.connect();
  await app.ask({ type: 'subscribe', streams: ['joints'], rateHz: 30 });
  await app.until((m) => m.type === 'joints' && m.valid === true);
  await pause(1500);
  const shown = touchSeenBy(app);
  // Where the fingers are. The strings slip: the hand stays as it is.
  const truth = new Map<number, Vector>([1, 3].map((finger) => [finger, shown(finger)]));
  for (const finger of ['index', 'ring']) await host.command(`ramp ${finger}.curl ${BENT - SLIPPED} 300`);
  await pause(1000);

  const url = `http://127.0.0.1:${service.port}`;
  const read = async (path: string, method = 'GET') =>
    (await (await fetch(url + path, { method })).json()) as Record<string, never>;
  const motion = createMountMotion('right');
  let [at, sinceMs, asked] = [-1, performance.now(), false];
  const timer = setInterval(() => {
    const sinceS = (performance.now() - sinceMs) / 1000;
    const touchOf = (finger: number): Vector => truth.get(finger) ?? shown(finger);
    const tracker = compose(motion.wristAt(MOUNT_MOVES[at] ?? 'rest', sinceS, touchOf), inverse(MOUNT));
    const [position, orientation] = [[...tracker.subarray(0, 3)], [...tracker.subarray(3)]];
    app.send({ type: 'tracker', hand: 'right', of: 'tracker', world: 'stage', position, orientation });
    if (asked) return;
    asked = true;
    void read('/guide')
      .catch(() => ({}))
      .then(({ move }: { move?: { number: number } }) => {
        asked = false;
        const next = (move?.number ?? 0) - 1;
        if (next === at) return;
        at = next;
        sinceMs = performance.now();
      });
  }, 11);
  onTestFinished(async () => {
    clearInterval(timer);
    await service.stop();
    await host.quit();
  });
  await app.until((m) => m.type === 'ack' && m.for === 'tracker');
  /** How far index and ring fingertips are shown from where they are, m. */
  const offM = (): number => Math.max(...[1, 3].map((finger) => apartM(shown(finger), truth.get(finger)!)));
  return { service, app, url, read, offM };
}

/** Kinds of fits in use. */
const inUse = ({ fits }: { fits?: { kind: string; inUse: boolean }[] }) =>
  (fits ?? []).filter((fit) => fit.inUse).map(({ kind }) => kind);

it('on the page: the sensors are corrected by a button, and undo keeps the tracker', async (test) => {
  const { service, app, read, offM } = await wearSlipped(test);
  const before = offM();
  expect(before).toBeGreaterThan(0.008);
  const { page } = await openPage(browser, service.port, 'fit');
  test.onTestFinished(async () => void (await page.close()));
  await page.getByRole('button', { name: 'Fit the tracker' }).click();
  await page.waitForSelector('text=The place of the tracker is found', { timeout: 100_000 });
  // Not before the tracker is in use.
  expect(await page.getByRole('button', { name: 'Correct these sensors' }).count()).toBe(0);
  await page.getByRole('button', { name: 'Use it' }).click();
  const correct = page.getByRole('button', { name: 'Correct these sensors' });
  await correct.waitFor();
  const offered = (await page.textContent('.findings')) ?? '';
  expect(offered).toMatch(/index.*bent \d+° more than it says/i);
  expect(offered).toMatch(/ring.*bent \d+° more than it says/i);
  expect(offM()).toBeCloseTo(before, 2);

  await correct.click();
  await page.waitForSelector('text=✓ Sensors corrected');
  await app.reached(() => offM() < 0.7 * before);
  expect(inUse(await read('/fits'))).toEqual(expect.arrayContaining(['sensors', 'mount']));
  await read('/fits/undo?hand=right', 'POST');
  await app.reached(() => offM() > 0.9 * before);
  expect(inUse(await read('/fits'))).toEqual(['mount']);
  // They are offered again.
  await correct.waitFor();
}, 240_000);

it.for([
  ['Enter', '\r', 'Corrected, and in use.', ['sensors', 'mount']],
  ['q', 'q', 'Left as they are.', ['mount']],
] as const)(
  'on the command line: %s answers the offer',
  { timeout: 240_000 },
  async ([, key, answer, kinds], test) => {
    const { url, read, offM, app } = await wearSlipped(test);
    const before = offM();
    // A terminal of its own, by util-linux' script(1).
    const command = `"${process.execPath}" dist/main.js fit --mount --person Kim --url ${url}`;
    const child = spawn('script', ['-qec', command, '/dev/null'], {
      stdio: ['pipe', 'pipe', 'inherit'],
      env: { ...process.env, TERM: 'dumb', XDG_RUNTIME_DIR: RUNTIME },
    });
    let said = '';
    child.stdout.setEncoding('utf8').on('data', (text: string) => {
      said += text;
    });
    const heard = async (text: string): Promise<void> => {
      while (!said.includes(text)) {
        if (child.exitCode !== null) throw new Error(`ended before ${text}: ${said}`);
        await pause(50);
      }
    };
    await heard('Known to');
    await pause(300);
    child.stdin.write('\r');
    await heard('Kept for Kim, and in use.');
    await heard('Correct them?');
    expect(said).toMatch(/index\.curl +bent \d+ degrees more than it says/);
    await pause(300);
    child.stdin.write(key);
    await heard(answer);
    expect(new Set(inUse(await read('/fits')))).toEqual(new Set(kinds));
    if (key === 'q') expect(offM()).toBeCloseTo(before, 2);
    else await app.reached(() => offM() < 0.7 * before);
  },
);
