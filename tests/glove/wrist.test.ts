import { Object3D, Quaternion, Vector3 } from 'three';
import { describe, expect, it } from 'vitest';
import type { HandFrame } from '../../src/glove/view.js';
import { createGloveWrist, type TrackerRequest } from '../../src/glove/wrist.js';
import {
  createPoses,
  createVelocities,
  forwardKinematics,
  JOINT_COUNT,
  jointVelocities,
  POSE_STRIDE,
  VELOCITY_STRIDE,
} from '../../src/hand/index.js';
import { turnBy } from '../../src/hand/rotation.js';
import { randomDofs, randomSkeleton, seeded, threeChain } from '../hand/chain.js';

const IDENTITY = [0, 0, 0, 1];
const createFrame = (): HandFrame => ({
  timeUs: 0,
  valid: true,
  reason: undefined,
  space: 'wrist',
  fingerStates: new Uint8Array(5),
  poses: createPoses(),
  velocities: createVelocities(),
  shownLaterUs: 0,
  skipped: 0,
});
const at = (position: readonly number[], more: Partial<TrackerRequest> = {}): TrackerRequest => ({
  type: 'tracker',
  hand: 'right',
  position: position as [number, number, number],
  orientation: [0, 0, 0, 1],
  ...more,
});
const MS = 1000;

/** A steady screw in the world. */
function poseAt(s: number) {
  const position = new Vector3(0.3, 1, -0.4).addScaledVector(new Vector3(0.4, -0.2, 0.7), s);
  const spin = new Vector3(1.5, -2, 0.5);
  const start = new Quaternion(0.1, 0.2, 0.3, 0.9).normalize();
  const turn = new Quaternion().setFromAxisAngle(spin.clone().normalize(), spin.length() * s).multiply(start);
  return { position, turn };
}
const requestAt = (s: number, of: 'wrist' | 'tracker' = 'wrist'): TrackerRequest => {
  const { position, turn } = poseAt(s);
  return { ...at(position.toArray(), { of }), orientation: [turn.x, turn.y, turn.z, turn.w] };
};

describe('joints in the world', () => {
  it.each(['left', 'right'] as const)(
    'are those of a three.js chain on a moving wrist, with their velocities: %s',
    (side) => {
      const random = seeded(7);
      const skeleton = randomSkeleton(random, side);
      const chain = threeChain(skeleton);
      const world = new Object3D();
      world.add(chain.wrist);
      const [from, to] = [randomDofs(random), randomDofs(random)];
      const rates = from.map((angle, i) => (to[i] - angle) / 2);
      const dofsAt = (s: number) => from.map((angle, i) => angle + rates[i] * s);
      const place = (s: number): Vector3[] => {
        const { position, turn } = poseAt(s);
        chain.wrist.position.copy(position);
        chain.wrist.quaternion.copy(turn);
        chain.pose(dofsAt(s));
        world.updateMatrixWorld(true);
        return chain.joints.map((joint) => joint.getWorldPosition(new Vector3()));
      };

      const frame = createFrame();
      const wrist = createGloveWrist(frame);
      for (let n = 0; n <= 45; n++) wrist.track(requestAt(n / 90), (n / 90) * 1e6, 'app');
      const s = 0.507;
      const dofs = dofsAt(s);
      forwardKinematics(skeleton, dofs, frame.poses, wrist.place(IDENTITY, s * 1e6, 0.508e6));
      jointVelocities(skeleton, rates, frame.poses, frame.velocities);
      wrist.carry(frame.poses, frame.velocities);
      expect(frame.space).toBe('world');

      const h = 1e-5;
      const [before, now, after] = [place(s - h), place(s), place(s + h)];
      for (let joint = 0; joint < JOINT_COUNT; joint++) {
        const speed = after[joint]
          .clone()
          .sub(before[joint])
          .divideScalar(2 * h);
        for (let k = 0; k < 3; k++) {
          expect(frame.poses[joint * POSE_STRIDE + k]).toBeCloseTo(now[joint].getComponent(k), 6);
          expect(frame.velocities[joint * VELOCITY_STRIDE + k]).toBeCloseTo(speed.getComponent(k), 6);
        }
      }
      // Carried on by what is sent as its velocity.
      const ahead = wrist.ahead(0.02);
      const later = poseAt(s + 0.02);
      expect([...ahead.subarray(0, 3)]).toEqual(later.position.toArray().map((v) => expect.closeTo(v, 6)));
      expect(later.turn.angleTo(new Quaternion(...ahead.subarray(3)))).toBeLessThan(1e-6);
      place(s);
    },
  );

  it('are where the mount puts the wrist, when the pose is that of a tracker, with the velocity of the wrist', () => {
    const frame = createFrame();
    const wrist = createGloveWrist(frame);
    const mountTurn = turnBy([0, 0, 0, 1], [0.4, -1, 0.3]);
    wrist.mount = [0.02, -0.05, 0.08, ...mountTurn];
    for (let n = 0; n <= 45; n++) wrist.track(requestAt(n / 90, 'tracker'), (n / 90) * 1e6, 'app');
    const root = wrist.place(IDENTITY, 0.507e6, 0.507e6);
    const reference = (s: number): Object3D => {
      const { position, turn } = poseAt(s);
      const tracker = new Object3D();
      tracker.position.copy(position);
      tracker.quaternion.copy(turn);
      const held = new Object3D();
      held.position.set(0.02, -0.05, 0.08);
      held.quaternion.set(...mountTurn);
      tracker.add(held);
      tracker.updateMatrixWorld(true);
      return held;
    };
    const now = reference(0.507).getWorldPosition(new Vector3());
    for (let k = 0; k < 3; k++) expect(root?.[k]).toBeCloseTo(now.getComponent(k), 9);
    const turn = reference(0.507).getWorldQuaternion(new Quaternion());
    expect(turn.angleTo(new Quaternion(...root!.subarray(3)))).toBeLessThan(1e-6);
    wrist.carry(frame.poses, frame.velocities.fill(0));
    const h = 1e-5;
    const speed = reference(0.507 + h)
      .getWorldPosition(new Vector3())
      .sub(reference(0.507 - h).getWorldPosition(new Vector3()));
    // The wrist's own joint, 1.
    for (let k = 0; k < 3; k++) {
      expect(frame.velocities[VELOCITY_STRIDE + k]).toBeCloseTo(speed.getComponent(k) / (2 * h), 1);
    }
  });
});

describe('a glove that has nothing but a sensor of its orientation', () => {
  const FOREARM_M = 0.26;
  const turns = Array.from({ length: 40 }, (_, n) =>
    turnBy([0, 0, 0, 1], [Math.sin(n), 2 * Math.cos(3 * n), n / 9]),
  );

  it.each(['left', 'right'] as const)(
    'moves at the end of its forearm as a three.js chain does: %s',
    (side) => {
      const random = seeded(9);
      const frame = createFrame();
      const wrist = createGloveWrist(frame, FOREARM_M);
      const skeleton = randomSkeleton(random, side);
      const chain = threeChain(skeleton);
      // The elbow stays; the hand goes straight on from the forearm, along -Z.
      const elbow = new Object3D();
      elbow.position.set(0, 0, FOREARM_M);
      elbow.add(chain.wrist);
      chain.wrist.position.set(0, 0, -FOREARM_M);
      for (const [n, turn] of turns.entries()) {
        const dofs = randomDofs(random);
        elbow.quaternion.set(...turn);
        chain.pose(dofs);
        elbow.updateMatrixWorld(true);
        forwardKinematics(skeleton, dofs, frame.poses, wrist.place(turn, n * 1e4, n * 1e4));
        for (let joint = 0; joint < JOINT_COUNT; joint++) {
          const at = chain.joints[joint].getWorldPosition(new Vector3());
          for (let k = 0; k < 3; k++)
            expect(frame.poses[joint * POSE_STRIDE + k]).toBeCloseTo(at.getComponent(k), 9);
        }
        // Nobody knows where the elbow is.
        expect(frame.space).toBe('wrist');
      }
      expect(wrist.report(4e5)).toEqual({ source: 'glove', forearmMm: 260 });
    },
  );

  it('turns on the spot without a forearm, and stays put without the sensor', () => {
    const [turn] = turns.slice(5);
    const still = createGloveWrist(createFrame());
    expect([...still.place(turn, 0, 0)!.subarray(0, 3)]).toEqual([0, 0, 0]);
    expect(still.report(0)).toEqual({ source: 'glove' });
    const none = createGloveWrist(createFrame(), FOREARM_M);
    expect(none.place(IDENTITY, 0, 0)).toBeUndefined();
    expect([...none.root]).toEqual([0, 0, 0, 0, 0, 0, 1]);
    expect(none.report(0)).toEqual({ source: 'none' });
  });

  it('gives way to a tracker, and is back when that stops', () => {
    const frame = createFrame();
    const wrist = createGloveWrist(frame, FOREARM_M);
    const [turn] = turns.slice(5);
    wrist.track(at([0, 1, 0], { ttlMs: 100 }), 0, 'app');
    expect([...wrist.place(turn, 0, 0)!.subarray(0, 3)]).toEqual([0, 1, 0]);
    expect(frame.space).toBe('world');
    const root = wrist.place(turn, 200 * MS, 200 * MS)!;
    expect(frame.space).toBe('wrist');
    expect(Math.hypot(root[0], root[1], root[2] - FOREARM_M)).toBeCloseTo(FOREARM_M, 9);
  });
});

describe('sources of the wrist', () => {
  it('one that stops leaves the hand around its wrist at once', () => {
    const frame = createFrame();
    const wrist = createGloveWrist(frame);
    for (let n = 0; n < 50; n++) wrist.track(at([0, 1, 0]), n * 11 * MS, 'app');
    expect(wrist.place(IDENTITY, 545 * MS, 545 * MS)).toBe(wrist.root);
    expect(wrist.place(IDENTITY, 680 * MS, 680 * MS)).toBe(wrist.root);
    expect(wrist.place(IDENTITY, 700 * MS, 700 * MS)).toBeUndefined();
    expect(frame.space).toBe('wrist');
    expect([...wrist.root]).toEqual([0, 0, 0, 0, 0, 0, 1]);
    expect(wrist.report(700 * MS).source).toBe('none');
  });

  it('an app that is gone, at once as well', () => {
    const frame = createFrame();
    const wrist = createGloveWrist(frame);
    wrist.track(at([0, 1, 0], { ttlMs: 10_000 }), 0, 'app');
    expect(wrist.place(IDENTITY, 0, 0)).toBe(wrist.root);
    wrist.drop('app');
    expect(wrist.place(IDENTITY, MS, MS)).toBeUndefined();
  });

  it('a newer one takes over after half a second, and back when it ends; never to and fro', () => {
    const frame = createFrame();
    const wrist = createGloveWrist(frame);
    const seen: string[] = [];
    for (let ms = 0; ms < 3000; ms += 10) {
      wrist.track(at([0, 1, 0]), ms * MS, 'old', 'old');
      // The new one has gaps.
      if (ms >= 1000 && ms < 2200 && ms % 100 < 60) wrist.track(at([0.001, 1, 0]), ms * MS, 'new', 'new');
      wrist.place(IDENTITY, ms * MS, ms * MS);
      const { app } = wrist.report(ms * MS);
      if (app !== seen.at(-1)) seen.push(app ?? '-');
      if (ms === 1400) expect(app).toBe('old');
      if (ms === 1600) expect(app).toBe('new');
    }
    expect(seen).toEqual(['old', 'new', 'old']);
  });

  it('two that disagree: one line, and the one in use stays', () => {
    const frame = createFrame();
    const wrist = createGloveWrist(frame);
    for (let ms = 0; ms < 1400; ms += 10) {
      if (ms >= 1000) wrist.track(at([0.3, 1, 0]), ms * MS, 'b', 'garden');
      wrist.track(at([0, 1, 0]), ms * MS, 'a', 'workshop');
      const root = wrist.place(IDENTITY, ms * MS, ms * MS);
      expect(root?.[0]).toBe(0);
    }
    expect(wrist.report(1400 * MS).note).toMatch(
      /^garden puts this hand 30 cm and 0 degrees from where workshop has it/,
    );
  });

  it('says how old and how noisy it is, and the delay that is taken out', () => {
    const frame = createFrame();
    const wrist = createGloveWrist(frame);
    for (let n = 0; n < 100; n++) {
      wrist.track(at([0.1 * (n / 90), 1, 0], { delayMs: 30 }), (n / 90) * 1e6, 'a', 'workshop');
    }
    const nowUs = (99 / 90) * 1e6 + 4 * MS;
    wrist.place(IDENTITY, nowUs, nowUs);
    expect(wrist.report(nowUs)).toEqual({
      source: 'app',
      app: 'workshop',
      of: 'wrist',
      ageMs: expect.closeTo(4, 6),
      jitterMm: expect.closeTo(0, 6),
      delayMs: 30,
      delayBy: 'stated',
    });
    // Placed where it is now, not where it was when the late pose was taken.
    expect(wrist.root[0]).toBeCloseTo(0.1 * (nowUs / 1e6 + 0.03), 6);
  });

  it('a tracker whose mount is not known places nothing, and says so', () => {
    const frame = createFrame();
    const wrist = createGloveWrist(frame);
    expect(wrist.track(at([0, 1, 0], { of: 'tracker' }), 0, 'a')).toEqual({
      limited: expect.stringContaining('fit --mount'),
    });
    expect(wrist.place(IDENTITY, 0, 0)).toBeUndefined();
    expect(wrist.report(0)).toMatchObject({ source: 'none', note: expect.stringContaining('fit --mount') });
    const pose = new Float64Array(7);
    expect(wrist.trackerAt(0, 0, pose)).toBeGreaterThan(0);
    expect([...pose]).toEqual([0, 1, 0, 0, 0, 0, 1]);
  });
});

describe('which world', () => {
  it('is what the app says that places the hand; in another one the track begins again', () => {
    const frame = createFrame();
    const wrist = createGloveWrist(frame);
    const send = (ms: number, more: Partial<TrackerRequest>, y = 1) =>
      wrist.track(at([0, y, 0], more), ms * MS, 'app');
    for (let ms = 0; ms < 300; ms += 10) send(ms, { world: 'local' });
    expect(wrist.place(IDENTITY, 300 * MS, 300 * MS)).toBe(wrist.root);
    expect(frame.world).toBe('local');
    expect(wrist.report(300 * MS)).toMatchObject({ source: 'app', world: 'local' });
    // The floor is a metre and a half below: no jump, and nothing between the two places.
    expect(send(301, { world: 'stage' }, 2.5)).toEqual({});
    expect([...wrist.place(IDENTITY, 301 * MS, 302 * MS)!.subarray(0, 3)]).toEqual([0, 2.5, 0]);
    expect(frame.world).toBe('stage');
    // Nobody says.
    send(320, {}, 2.5);
    wrist.place(IDENTITY, 320 * MS, 320 * MS);
    expect(frame.world).toBeUndefined();
    expect(wrist.report(320 * MS)).not.toHaveProperty('world');
    // And none is left when the app has gone.
    send(330, { world: 'stage' }, 2.5);
    wrist.place(IDENTITY, 330 * MS, 330 * MS);
    wrist.drop('app');
    wrist.place(IDENTITY, 340 * MS, 340 * MS);
    expect([frame.space, frame.world]).toEqual(['wrist', undefined]);
  });

  it('two apps that mean two worlds are said to, not measured against each other', () => {
    const wrist = createGloveWrist(createFrame());
    for (let ms = 0; ms < 1400; ms += 10) {
      // The very same numbers.
      if (ms >= 1000) wrist.track(at([0, 1, 0], { world: 'stage' }), ms * MS, 'b', 'garden');
      wrist.track(at([0, 1, 0], { world: 'local' }), ms * MS, 'a', 'workshop');
      wrist.place(IDENTITY, ms * MS, ms * MS);
    }
    expect(wrist.report(1400 * MS).note).toBe(
      'garden places this hand in stage space, workshop in local space: end one of them, or let both use the same.',
    );
  });

  it('a tracker in another space, or of another app, is another tracker to a fit', () => {
    const wrist = createGloveWrist(createFrame());
    const pose = new Float64Array(7);
    const send = (ms: number, app: string, more: Partial<TrackerRequest> = {}): number => {
      wrist.track(at([0, 1, 0], { of: 'tracker', ...more }), ms * MS, app);
      return wrist.trackerAt(ms * MS, ms * MS, pose);
    };
    const first = send(0, 'a');
    expect(send(10, 'a')).toBe(first);
    // A pause is not a change.
    expect(send(5000, 'a')).toBe(first);
    const moved = send(5010, 'a', { world: 'stage' });
    expect(moved).not.toBe(first);
    wrist.drop('a');
    expect([0, first, moved]).not.toContain(send(5020, 'b'));
  });
});

describe('bad poses', () => {
  const steady = () => {
    const frame = createFrame();
    const wrist = createGloveWrist(frame);
    for (let n = 0; n < 50; n++) wrist.track(at([0, 1, 0]), n * 10 * MS, 'app');
    return { frame, wrist };
  };
  it.each([
    [
      'a quaternion of length 0',
      { orientation: [0, 0, 0, 0] },
      /^orientation: a unit quaternion is needed; the length of this one is 0\.000\.$/,
    ],
    ['one of length 0.9', { orientation: [0, 0, 0, 0.9] }, /length of this one is 0\.900/],
    [
      'a time of the future',
      { timeUs: 4e6 },
      /^timeUs: it lies 3510 ms in the future: give the service's clock/,
    ],
    ['a time long past', { timeUs: -2e6 }, /^timeUs: it is 2\.5 s old/],
  ] as const)('%s is refused in one line, and the hand stays where it was', (_, more, line) => {
    const { wrist, frame } = steady();
    const outcome = wrist.track(at([5, 5, 5], more as Partial<TrackerRequest>), 490 * MS, 'app');
    expect(outcome).toMatchObject({ refused: { code: 'badMessage', message: expect.stringMatching(line) } });
    expect([...wrist.place(IDENTITY, 500 * MS, 500 * MS)!.subarray(0, 3)]).toEqual([0, 1, 0]);
    expect(frame.space).toBe('world');
  });

  it('a jump of a metre takes the hand out of the world until it is steady there', () => {
    const { wrist, frame } = steady();
    expect(wrist.track(at([1, 1, 0]), 500 * MS, 'app')).toEqual({
      limited: expect.stringMatching(/^It jumped by 1\.0 m/),
    });
    expect(wrist.place(IDENTITY, 501 * MS, 501 * MS)).toBeUndefined();
    expect(frame.space).toBe('wrist');
    wrist.track(at([1, 1, 0]), 510 * MS, 'app');
    wrist.track(at([1, 1, 0]), 520 * MS, 'app');
    expect([...wrist.place(IDENTITY, 521 * MS, 521 * MS)!.subarray(0, 3)]).toEqual([1, 1, 0]);
  });
});
