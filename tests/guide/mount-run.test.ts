import { describe, expect, it } from 'vitest';
import { createMountRun } from '../../src/guide/mount-run.js';
import {
  createClosingProfile,
  createPoses,
  createSkeleton,
  DOF_COUNT,
  forwardKinematics,
  POSE_STRIDE,
  setCurl,
} from '../../src/hand/index.js';
import { rotate, turnBy, type Vector } from '../../src/hand/rotation.js';
import { CHAIN_START } from '../../src/hand/skeleton.js';
import { seeded } from '../hand/chain.js';
import { angleBetweenDeg, apartM, compose, createNormal, inverse } from '../hand/mount-wearer.js';
import { createMountMotion } from './mount-motion.js';

interface Wears {
  side?: 'left' | 'right';
  seed?: number;
  /** Moves that the wearer does not make. */
  skips?: readonly string[];
  /** Only moves the hand about, touching nothing. */
  wanders?: boolean;
  /** The tracker falls silent after so many seconds. */
  silentS?: number;
  /** Another tracker from then on. */
  switchesS?: number;
}

function lead({
  side = 'right',
  seed = 1,
  skips = [],
  wanders = false,
  silentS = 1e9,
  switchesS = 1e9,
}: Wears = {}) {
  const random = seeded(seed);
  const normal = createNormal(random);
  const skeleton = createSkeleton({ side });
  const motion = createMountMotion(side);
  const run = createMountRun(skeleton, [0, 1, 2, 3, 4]);
  const mount = Float64Array.of(
    0.02,
    0.04,
    0.06,
    ...turnBy([0, 0, 0, 1], [2 * normal(), normal(), normal()]),
  );
  const dofs = new Float64Array(DOF_COUNT);
  const profile = createClosingProfile();
  const poses = createPoses();
  const off = [0, 1, 2, 3, 4].map(() => [0.003 * normal(), 0.003 * normal(), 0.003 * normal()]);
  const touchOf = (finger: number): Vector => {
    const tip = (CHAIN_START[finger] + 3) * POSE_STRIDE;
    const inside = Math.SQRT1_2 * skeleton.radii[CHAIN_START[finger] + 3];
    const pad = rotate(poses.subarray(tip + 3, tip + 7), [0, -inside, -inside]);
    return [0, 1, 2].map((k) => poses[tip + k] + pad[k] + off[finger][k]) as Vector;
  };
  const prompts: string[] = [];
  let move = '';
  let startS = 0;
  for (let s = 0; s < 200; s += 0.01) {
    if (run.move.name !== move) {
      move = run.move.name;
      startS = s;
      prompts.push(run.move.prompt);
    }
    // A finger that bends a little meanwhile, as asked.
    for (let finger = 0; finger < 5; finger++) setCurl(profile, finger, 0.3 + 0.08 * Math.sin(2 * s), dofs);
    forwardKinematics(skeleton, dofs, poses);
    const wrist = skips.includes(move)
      ? Float64Array.of(0.25, 0.8, -0.2, 0, 0, 0, 1)
      : motion.wristAt(move, s - startS, touchOf);
    if (wanders && prompts.length > 2) for (let k = 0; k < 3; k++) wrist[k] += 0.1 * Math.sin(s * (1.3 + k));
    const tracker = compose(wrist, inverse(mount));
    for (let k = 0; k < 3; k++) tracker[k] += 0.001 * normal();
    const outcome = run.sample(s * 1e6, dofs, s > silentS ? undefined : tracker, s > switchesS ? 2 : 1);
    if (outcome) return { outcome, seconds: s, prompts, mount };
  }
  throw new Error('never over');
}

describe('the guided fit of a mount', () => {
  it.each(['left', 'right'] as const)('finds it within 60 s, %s hand', (side) => {
    for (let seed = 1; seed <= 3; seed++) {
      const { outcome, seconds, prompts, mount } = lead({ side, seed });
      if (!('fitted' in outcome)) throw new Error(JSON.stringify(outcome));
      const { fitted } = outcome;
      expect(fitted.by).toBe('touch');
      expect(seconds).toBeLessThan(60);
      expect(prompts).toHaveLength(7);
      for (const prompt of prompts) expect(prompt.length).toBeLessThanOrEqual(72);
      expect(angleBetweenDeg(fitted.mount, mount)).toBeLessThan(Math.min(6, 3 * fitted.rotationDeg));
      expect(apartM(fitted.mount, mount)).toBeLessThan(Math.min(0.015, 3 * fitted.translationM));
    }
  });

  it('finds it less well from nodding and waving alone, where nothing is touched, and says so', () => {
    const skips = ['thumb', 'index', 'middle', 'ring', 'little'];
    const { outcome, seconds, mount } = lead({ skips });
    expect(outcome).toMatchObject({ fitted: { by: 'motion' } });
    if ('fitted' in outcome) expect(angleBetweenDeg(outcome.fitted.mount, mount)).toBeLessThan(10);
    expect(seconds).toBeLessThan(90);
  });

  it('goes without nodding', () => {
    const { outcome } = lead({ skips: ['nod'] });
    expect(outcome).toMatchObject({ fitted: { by: 'touch' } });
  });

  it.each([
    ['one finger alone', { skips: ['index', 'middle', 'ring', 'little'] }, 'tooFewFingers'],
    ['no move at all', { skips: ['nod', 'wave', 'thumb', 'index', 'middle', 'ring', 'little'] }, 'handStill'],
  ] as const)('%s: says that it is not enough', (_, wears, fault) => {
    expect(lead(wears).outcome).toMatchObject({ fault });
  });

  it('a hand that wanders about, touching nothing, is not taken for a touch', () => {
    for (let seed = 1; seed <= 4; seed++) {
      const { outcome } = lead({ wanders: true, seed });
      // Nodding and waving were made as asked.
      if ('fitted' in outcome) expect(outcome.fitted.by).toBe('motion');
      else expect('fault' in outcome).toBe(true);
    }
  });

  it('a wearer who takes another tracker meanwhile is not given a mount of both', () => {
    for (const side of ['left', 'right'] as const) {
      expect(lead({ side, switchesS: 18 }).outcome).toEqual({
        stopped: expect.stringMatching(/^Another tracker took over/),
      });
    }
  });

  it('a tracker that falls silent ends it', () => {
    expect(lead({ silentS: 5 }).outcome).toEqual({ stopped: 'The tracker on the hand fell silent.' });
  });
});
