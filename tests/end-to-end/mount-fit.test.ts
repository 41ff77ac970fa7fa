import { afterAll, expect, it, onTestFinished } from 'vitest';
import { turnBy } from '../../src/hand/rotation.js';
import { start } from '../commands/cli.js';
import { startHostGlove } from '../firmware/host-glove.js';
import { createMountMotion } from '../guide/mount-motion.js';
import { seeded } from '../hand/chain.js';
import { angleBetweenDeg, apartM, compose, createNormal, inverse } from '../hand/mount-wearer.js';
import type { App } from '../stream/app.js';
import { MOUNT_MOVES, touchSeenBy, watchMoves } from './mount-wearer.js';
import { hostGloveProfile, startServiceProcess, stopAllServices } from './service.js';

afterAll(stopAllServices);

const MOUNT = Float64Array.of(0.03, 0.05, 0.07, ...turnBy([0, 0, 0, 1], [0.8, -0.4, 1.9]));

/** An application that knows where its tracker is, and a wearer who does what the command says. */
function wear(app: App, stdout: NodeJS.ReadableStream): void {
  const normal = createNormal(seeded(4));
  const motion = createMountMotion('right');
  const moves = watchMoves(stdout);
  const touchOf = touchSeenBy(app);
  const timer = setInterval(() => {
    const wrist = motion.wristAt(MOUNT_MOVES[moves.at] ?? 'rest', moves.sinceS(), touchOf);
    const tracker = compose(wrist, inverse(MOUNT));
    for (let k = 0; k < 3; k++) tracker[k] += 0.001 * normal();
    app.send({
      type: 'tracker',
      hand: 'right',
      of: 'tracker',
      position: [...tracker.subarray(0, 3)],
      orientation: [...tracker.subarray(3)],
    });
  }, 11);
  onTestFinished(() => clearInterval(timer));
}

it('fits how a tracker sits on the hand, by the command line, against firmware, in under a minute', async () => {
  const host = await startHostGlove(['--rate', '100']);
  const service = await startServiceProcess(hostGloveProfile(host.pty));
  onTestFinished(async () => {
    await service.stop();
    await host.quit();
  });
  for (const finger of ['thumb', 'index', 'middle', 'ring', 'little'])
    await host.command(`ramp ${finger}.curl 0.3 300`);
  const url = `http://127.0.0.1:${service.port}`;

  const nobody = start(['fit', '--mount', '--url', url]);
  expect((await nobody.outcome).stderr).toMatch(
    /Nothing says where a tracker on this hand is\. Start the application/,
  );

  const app = await service.connect();
  await app.ask({ type: 'subscribe', streams: ['joints', 'health'], rateHz: 30 });
  const command = start(['fit', '--mount', '--person', 'Kim', '--url', url]);
  wear(app, command.process.stdout!);
  await app.reached(() =>
    app.of('health').some(({ wrist }) => /fit --mount/.test((wrist as { note?: string })?.note ?? '')),
  );
  const before = performance.now();
  const { code, stdout, stderr } = await command.outcome;
  expect(stderr).toBe('');
  expect(code).toBe(0);
  const seconds = (performance.now() - before) / 1000;
  expect(seconds).toBeLessThan(60);
  expect(stdout).toMatch(/Known to \d\.\d degrees and \d+\.\d mm/);
  expect(stdout).toContain('Kept for Kim, and in use.');
  for (const line of stdout.split('\n')) expect(line.length).toBeLessThanOrEqual(80);

  // Every app hears of it, and the joints are in the world at once, where the hand is.
  const welcome = (await app.until(
    (m) => m.type === 'welcome' && (m.hands as { mount?: number[] }[])[0].mount !== undefined,
  )) as {
    hands?: { mount: number[] }[];
  };
  const mount = welcome.hands![0].mount;
  expect(angleBetweenDeg(mount, MOUNT)).toBeLessThan(8);
  expect(apartM(mount, MOUNT)).toBeLessThan(0.015);
  if (process.env.TAUTLINE_FIGURES) {
    console.log({ seconds, degrees: angleBetweenDeg(mount, MOUNT), metres: apartM(mount, MOUNT), stdout });
  }
  await app.until((m) => m.type === 'joints' && m.space === 'world');
  await app.until((m) => m.type === 'health' && (m.wrist as { source?: string }).source === 'app');

  // Undone, it counts no more.
  const undone = await start(['fit', '--undo', '--url', url]).outcome;
  expect(undone.stdout).toContain("No fit: the profile's own numbers are used.");
  await app.reached(() => app.of('joints').at(-1)?.space === 'wrist');
}, 150_000);
