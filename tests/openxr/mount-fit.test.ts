import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, expect, it, onTestFinished } from 'vitest';
import { turnBy } from '../../src/hand/rotation.js';
import { start } from '../commands/cli.js';
import { MOUNT_MOVES, touchSeenBy, watchMoves } from '../end-to-end/mount-wearer.js';
import { hostGloveProfile, startServiceProcess, stopAllServices } from '../end-to-end/service.js';
import { startHostGlove } from '../firmware/host-glove.js';
import { createMountMotion } from '../guide/mount-motion.js';
import { angleBetweenDeg, apartM, compose, inverse } from '../hand/mount-wearer.js';
import { Driver, stopAllDrivers } from './driver.js';
import { pause } from './peer.js';
import { at, attachGrip, endWell, SIMPLE } from './rig.js';

afterAll(async () => {
  await stopAllDrivers();
  await stopAllServices();
});

const MOUNT = Float64Array.of(0.02, 0.04, 0.09, ...turnBy([0, 0, 0, 1], [0.5, 0.9, -1.1]));

it('fits the mount of a controller that an unmodified application has on the wrist', async () => {
  const runtimeFolder = mkdtempSync(join(tmpdir(), 'tautline-runtime-'));
  const host = await startHostGlove(['--rate', '100']);
  const service = await startServiceProcess(hostGloveProfile(host.pty), [], {
    XDG_RUNTIME_DIR: runtimeFolder,
  });
  onTestFinished(async () => {
    await service.stop();
    await host.quit();
    rmSync(runtimeFolder, { recursive: true, force: true });
  });
  for (const finger of ['thumb', 'index', 'middle', 'ring', 'little'])
    await host.command(`ramp ${finger}.curl 0.3 300`);
  const watcher = await service.connect();
  await watcher.ask({ type: 'subscribe', streams: ['joints'], rateHz: 30 });

  const app = Driver.start({ runtimeFolder });
  await app.world(`controller right ${SIMPLE}`, `grip right ${at(0.2, 1.2, -0.3).join(' ')}`);
  await app.open('XR_EXT_hand_tracking');
  await attachGrip(app);
  await app.do('tracker right right', 'frames 1', 'sync game');

  const command = start(['fit', '--mount', '--url', `http://127.0.0.1:${service.port}`]);
  const moves = watchMoves(command.process.stdout!);
  const motion = createMountMotion('right');
  const touchOf = touchSeenBy(watcher);
  const wristNow = () => motion.wristAt(MOUNT_MOVES[moves.at] ?? 'rest', moves.sinceS(), touchOf);
  let over = false;
  void command.outcome.then(() => {
    over = true;
  });
  while (!over) {
    await app.world(`grip right ${[...compose(wristNow(), inverse(MOUNT))].join(' ')}`);
    await app.do('frames 1', 'sync game');
    await pause(8);
  }
  const { code, stdout, stderr } = await command.outcome;
  expect(stderr).toBe('');
  expect(code).toBe(0);
  expect(stdout).toMatch(/Kept for .*, and in use\./);
  const welcome = (await watcher.until(
    (m) => m.type === 'welcome' && (m.hands as { mount?: number[] }[])[0].mount !== undefined,
  )) as unknown as { hands: { mount: number[] }[] };
  const [{ mount }] = welcome.hands;
  expect(angleBetweenDeg(mount, MOUNT)).toBeLessThan(8);
  expect(apartM(mount, MOUNT)).toBeLessThan(0.015);
  if (process.env.TAUTLINE_FIGURES) {
    console.log({ degrees: angleBetweenDeg(mount, MOUNT), metres: apartM(mount, MOUNT), stdout });
  }

  // Without starting the application again, its hand is where the wrist is.
  const grip = compose(wristNow(), inverse(MOUNT));
  await app.world(`grip right ${[...grip].join(' ')}`);
  await app.do('frames 1', 'sync game');
  await pause(100);
  const hands = await app.do('hands right local');
  const wrist = (hands.joints as number[][])[1].slice(1, 8);
  const expected = compose(grip, mount);
  expect(apartM(wrist, expected)).toBeLessThan(1e-4);
  await endWell(app);
}, 150_000);
