import { setTimeout as pause } from 'node:timers/promises';
import { afterEach, expect, it } from 'vitest';
import { FINGER_BASE, FINGERS, POSE_STRIDE } from '../../src/hand/joints.js';
import type { ServerMessageOf } from '../../src/protocol/messages.js';
import type { App } from '../stream/app.js';
import { startServiceProcess, stopAllServices } from './service.js';

export interface ServoState {
  free: boolean;
  /** Curl at which the finger is stopped. */
  curl: number;
}

/** A finger from open to closed (common practice: a fist takes some 0.3 s). A jump would be a loose connector. */
export const BEND_MS = 300;

/** A glove that runs our firmware, and what a test does to it. Five curls, five string stops, right hand. */
export interface LinkGlove {
  profile: string;
  /** Variables that the service needs to reach it. */
  env?: Record<string, string>;
  sampleRateHz: number;
  /** The wearer wants to bend the finger so far, as quickly as a hand can. Resolves when that time is over. */
  bend(finger: string, curl: number): Promise<unknown>;
  /** How far it is bent. */
  curl(finger: string): Promise<number>;
  servos(): Promise<Record<string, ServoState>>;
  /** Bytes that are no frame, as far as the glove can put them on the line. */
  disturb(): Promise<unknown>;
  /** Time from `act` until every servo is free, by the glove's own clock, which a busy machine may slow down; ms. */
  freedAfterMs(act: () => void): Promise<number>;
  quit(): Promise<unknown>;
}

/** Longest that a held finger may stay held once the service is gone. The watchdog is set to 250 ms. */
const MAX_HELD_MS = 300;
const SAMPLES = 100;
/** Seconds when there is nothing else to do; a simulated chip on a busy machine takes many times that. */
const TIME_LIMIT_MS = 120_000;

type Joints = ServerMessageOf<'joints'>;
export const newest = (app: App): Joints | undefined =>
  app.messages.findLast((m): m is Joints => m.type === 'joints');

/** How far the finger is bent: the angle between its proximal and its distal bone, radians. */
export function bend(joints: Joints, finger: number): number {
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

/** Length of the newest run of poses of which none is missing. */
function withoutGap(poses: readonly Joints[]): number {
  let length = 1;
  while (length < poses.length && poses.at(-length)!.seq === poses.at(-length - 1)!.seq + 1) length++;
  return length;
}

/** From bytes to a hand and back: the service as a process of its own, the glove at the other end of a terminal. */
export function linkTest(startGlove: () => Promise<LinkGlove>): void {
  let glove: LinkGlove | undefined;
  afterEach(async () => {
    await stopAllServices();
    await glove?.quit();
    glove = undefined;
  });

  /** Asks until it is so; fails with the test's own time limit. */
  const servosUntil = async (fits: (servos: Record<string, ServoState>) => boolean) => {
    for (;;) {
      const servos = await glove!.servos();
      if (fits(servos)) return servos;
      await pause(5);
    }
  };
  const allFree = (servos: Record<string, ServoState>) => Object.values(servos).every(({ free }) => free);

  it(
    'bends the right joint the right way, moves the servo, and frees it when the service is killed',
    async () => {
      glove = await startGlove();
      const service = await startServiceProcess(glove.profile, [], glove.env);
      const app = await service.connect();
      const subscription = { type: 'subscribe', streams: ['joints', 'resistance', 'health'] };
      await app.ask(subscription);
      await app.reached(() => newest(app)?.valid === true);

      // Every sample, at the glove's rate, and none lost on the way.
      const health = () => app.of('health').at(-1)!;
      await app.reached(() => app.of('health').length > 0);
      const lostAtFirst = health().lost;
      expect(await app.ask(subscription)).toMatchObject({ type: 'ack', rateHz: glove.sampleRateHz });
      // What came before the ack belongs to the old subscription.
      const start = app.messages.findLastIndex((m) => m.type === 'ack');
      const fresh = () => app.messages.slice(start).filter((m): m is Joints => m.type === 'joints');
      // A reader that a busy machine holds up gets the newest pose, not a queue: then another run of them counts.
      await app.reached(() => withoutGap(fresh()) > SAMPLES);

      // Enough from here on, and it leaves the machine to the glove.
      await app.ask({ ...subscription, rateHz: 30 });
      for (const [finger, name] of FINGERS.entries()) {
        await glove.bend(name, 0.8);
        // On a busy machine the hand may lose its validity for a moment: the glove was not heard.
        await app.reached(() => newest(app)!.valid && bend(newest(app)!, finger) > 0.6);
        const joints = newest(app)!;
        expect(joints.fingers[name]).toBe('tracked');
        // Towards the palm: the tip went down (-Y is palmar) or, for the thumb, inwards; the others stayed.
        if (finger > 0) expect(joints.poses[FINGER_BASE[finger] + 4][1]).toBeLessThan(-0.02);
        for (const other of FINGERS.keys()) {
          if (other !== finger) expect(bend(joints, other)).toBeLessThan(0.35);
        }
        expect(joints.poses.flat()).toHaveLength(26 * POSE_STRIDE);
        await glove.bend(name, 0);
        await app.reached(() => bend(newest(app)!, finger) < 0.3);
      }
      expect(health().lost).toBe(lostAtFirst);

      // Disarmed at start: nothing may move.
      const request = {
        type: 'resist',
        hand: 'right',
        fingers: { index: { stopAt: 0.5, effort: 1 } },
        ttlMs: 1000,
      };
      expect(await app.ask(request)).toMatchObject({ type: 'error', code: 'disarmed' });
      expect(allFree(await glove.servos())).toBe(true);

      // Bytes that are no frame are counted, and cost nothing but themselves.
      await glove.disturb();
      await app.reached(() => health().lost > lostAtFirst);
      await glove.bend('index', 0.3);
      await app.reached(() => bend(newest(app)!, 1) > 0.2);

      expect((await service.arm('right')).body).toMatchObject({ armed: true });
      let renewing = setInterval(() => app.send(request), 100);
      try {
        const stopped = ({ index }: Record<string, ServoState>) => !index!.free && index!.curl < 0.62;
        // What the glove was not heard to do, on a busy machine, is not known to be a motion: the wearer moves again.
        const stoppedOnceMoved = async () => {
          for (;;) {
            const untilMs = performance.now() + 1000;
            const servos = await servosUntil((now) => stopped(now) || performance.now() > untilMs);
            if (stopped(servos)) return servos;
            await glove!.bend('index', 0);
            await glove!.bend('index', 0.3);
          }
        };
        for (;;) {
          const servos = await stoppedOnceMoved();
          expect(servos.index!.curl).toBeGreaterThan(0.45);
          expect(servos.middle!.free).toBe(true);
          // The hand is stopped: it cannot go where the wearer wants it.
          const before = app.messages.length;
          await glove.bend('index', 1);
          if ((await glove.curl('index')) < 0.65) break;
          // But for one reason: the glove was not heard in time, on a busy machine. Then it is right to let go.
          const since = app.messages.slice(before).filter((m) => m.type === 'resistance');
          expect(since.flatMap((m) => m.fingers.index!.limits)).toContain('stale');
          await glove.bend('index', 0.3);
        }

        clearInterval(renewing);
        expect(await app.ask({ type: 'release', hand: 'right' })).toMatchObject({ type: 'ack' });
        await servosUntil(allFree);
        // As soon as the servo is out of its way.
        while ((await glove.curl('index')) < 1) await pause(5);

        await glove.bend('index', 0.3);
        renewing = setInterval(() => app.send(request), 100);
        await stoppedOnceMoved();
        expect(await glove.freedAfterMs(() => service.process.kill('SIGKILL'))).toBeLessThan(MAX_HELD_MS);
        expect(allFree(await glove.servos())).toBe(true);
      } finally {
        clearInterval(renewing);
      }
    },
    TIME_LIMIT_MS,
  );
}
