import { afterEach, describe, expect, it } from 'vitest';
import { FINGER_BASE, FINGERS, POSE_STRIDE } from '../../src/hand/joints.js';
import type { ServerMessageOf } from '../../src/stream/protocol.js';
import { type HostGlove, startHostGlove } from '../firmware/host-glove.js';
import type { App } from '../stream/app.js';
import { hostGloveProfile, startServiceProcess, stopAllServices } from './service.js';

let glove: HostGlove | undefined;
const startGlove = async (...args: string[]): Promise<HostGlove> => {
  glove = await startHostGlove(args);
  return glove;
};
afterEach(async () => {
  await stopAllServices();
  await glove?.quit();
  glove = undefined;
});

type Joints = ServerMessageOf<'joints'>;
const newest = (app: App): Joints | undefined =>
  app.messages.findLast((m): m is Joints => m.type === 'joints');

/** How far the finger is bent: the angle between its proximal and its distal bone, radians. */
function bend(joints: Joints, finger: number): number {
  const proximal = FINGER_BASE[finger] + 1;
  const distal = FINGER_BASE[finger] + (finger === 0 ? 2 : 3);
  // -Z of a joint points along its bone.
  const along = ([, , , x, y, z, w]: number[]) => [
    -2 * (x * z + w * y),
    -2 * (y * z - w * x),
    -(1 - 2 * (x * x + y * y)),
  ];
  const a = along(joints.poses[proximal]);
  const b = along(joints.poses[distal]);
  return Math.acos(Math.min(1, a[0] * b[0] + a[1] * b[1] + a[2] * b[2]));
}

interface Servo {
  free: boolean;
  /** Curl at which the finger is stopped. */
  curl: number;
}

/** Asks until it is so; fails with the test's own time limit. */
async function servoUntil(host: HostGlove, name: string, fits: (servo: Servo) => boolean): Promise<Servo> {
  for (;;) {
    const servo = await host.ask<Servo>(`servo ${name}`);
    if (fits(servo)) return servo;
  }
}

describe('from bytes to a hand and back, with the real firmware over a pseudo-terminal', () => {
  it('bends the right joint the right way, moves the servo, and frees it when the service is killed', async () => {
    const host = await startGlove('--rate', '250');
    const service = await startServiceProcess(hostGloveProfile(host.pty));
    const app = await service.connect();
    await app.ask({ type: 'subscribe', streams: ['joints', 'resistance'], rateHz: 100 });
    await app.reached(() => newest(app)?.valid === true);

    for (const [finger, name] of FINGERS.entries()) {
      await host.command(`set ${name}.curl 0.8`);
      await app.reached(() => bend(newest(app)!, finger) > 0.6);
      const joints = newest(app)!;
      expect(joints.fingers[name]).toBe('tracked');
      // Towards the palm: the tip went down (-Y is palmar) or, for the thumb, inwards; the others stayed.
      if (finger > 0) expect(joints.poses[FINGER_BASE[finger] + 4][1]).toBeLessThan(-0.02);
      for (const other of FINGERS.keys()) {
        if (other !== finger) expect(bend(joints, other)).toBeLessThan(0.35);
      }
      expect(joints.poses.flat()).toHaveLength(26 * POSE_STRIDE);
      await host.command(`set ${name}.curl 0`);
      await app.reached(() => bend(newest(app)!, finger) < 0.3);
    }

    // Disarmed at start: nothing may move.
    const request = {
      type: 'resist',
      hand: 'right',
      fingers: { index: { stopAt: 0.5, effort: 1 } },
      ttlMs: 1000,
    };
    expect(await app.ask(request)).toMatchObject({ type: 'error', code: 'disarmed' });
    expect((await host.ask<Servo>('servo index')).free).toBe(true);

    expect(await app.ask({ type: 'arm', hand: 'right' })).toMatchObject({ type: 'ack', armed: true });
    await host.command('set index.curl 0.3');
    const renew = setInterval(() => app.send(request), 100);
    try {
      const servo = await servoUntil(host, 'index', ({ free, curl }) => !free && curl < 0.62);
      expect(servo.curl).toBeGreaterThan(0.45);
      expect((await host.ask<Servo>('servo middle')).free).toBe(true);
      // The hand is stopped: it cannot go where the wearer wants it.
      await host.command('set index.curl 1');
      const { value } = await host.ask<{ value: number }>('get index.curl');
      expect(value).toBeLessThan(0.65);

      service.process.kill('SIGKILL');
      const killed = performance.now();
      let all = await host.ask<Servo[]>('servos');
      while (!all.every(({ free }) => free) && performance.now() - killed < 2000)
        all = await host.ask<Servo[]>('servos');
      expect(performance.now() - killed).toBeLessThan(300);
      expect(all.every(({ free }) => free)).toBe(true);
    } finally {
      clearInterval(renew);
    }
  });
});
