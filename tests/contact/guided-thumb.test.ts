import { describe, expect, it } from 'vitest';
import { createClosingPath, followPose, jointsAt, speedFrom } from '../../src/contact/closing-path.js';
import { THUMB } from '../../src/contact/led-thumb.js';
import { createTouchContacts, Touches } from '../../src/contact/touches.js';
import {
  coupleArch,
  createClosingProfile,
  createNaturalMotion,
  createPoses,
  createSkeleton,
  DOF_COUNT,
  forwardKinematics,
  guideThumb,
  setCurl,
} from '../../src/hand/index.js';
import { POSE_STRIDE } from '../../src/hand/joints.js';
import { CHAIN_START } from '../../src/hand/skeleton.js';
import { boneGap, distanceOf, inFrame } from './oracle.js';
import { between, randomTurn, seeded } from './random.js';

const skeleton = createSkeleton({ side: 'right', lengthM: 0.19 });
const profile = createClosingProfile();
const natural = createNaturalMotion(skeleton, profile);
const THUMB_START = CHAIN_START[THUMB];
const dofs = new Float64Array(DOF_COUNT);
const poses = createPoses();

/** The hand as sensing shows it: the thumb is guided by the other fingers. */
function show(curls: readonly number[]): void {
  dofs.fill(0);
  for (let finger = 0; finger < 5; finger++) setCurl(profile, finger, curls[finger], dofs);
  guideThumb(natural, dofs, curls);
  coupleArch(dofs);
  forwardKinematics(skeleton, dofs, poses);
}

/**
 * Closes the thumb until its stop is reached, and says how deep it then is in the capsule; undefined if it is not
 * stopped, or begins on it. Negative: it is stopped before it is there.
 * @param measured the sensed curls are passed on; otherwise they are taken from the joint angles
 */
function depthWhereHeld(random: () => number, measured: boolean): number | undefined {
  const others = Array.from({ length: 4 }, () => between(random, 0.1, 0.8));
  const shape = {
    kind: 'capsule' as const,
    radius: between(random, 0.008, 0.03),
    length: between(random, 0.01, 0.15),
  };
  const turn = randomTurn(random);
  const position: [number, number, number] = [
    between(random, -0.06, 0.02),
    between(random, -0.09, -0.03),
    between(random, -0.14, -0.05),
  ];
  const distance = inFrame(distanceOf(shape), [...position, ...turn]);
  const gap = () => Math.min(...[2, 3, 4].map((joint) => boneGap(distance, poses, joint)));
  show([0, ...others]);
  if (gap() < 0.002) return undefined;
  const touches = new Touches(skeleton, profile);
  const contacts = createTouchContacts();
  touches.set('a', undefined, { type: 'touch', hand: 'right', shape, position, orientation: turn }, 0);
  for (let curl = 0; curl <= 1; curl += 0.002) {
    const curls = [curl, ...others];
    show(curls);
    touches.solve(0, dofs, poses, 'wrist', contacts, measured ? curls : undefined);
    if (contacts.stop[0] <= curl) return -gap();
    // Deep inside and not held: it went through.
    if (gap() < -0.02) return -gap();
  }
  return undefined;
}

function figures(measured: boolean): { held: number; deepestM: number; earliestM: number } {
  const random = seeded(11);
  const depths = Array.from({ length: 200 }, () => depthWhereHeld(random, measured)).filter(
    (depth) => depth !== undefined,
  );
  return { held: depths.length, deepestM: Math.max(...depths), earliestM: Math.min(...depths) };
}

describe('a thumb that other fingers guide', () => {
  it('is held at the surface of a capsule, whatever its joint angles say of its curl', () => {
    const { held, deepestM, earliestM } = figures(true);
    if (process.env.TAUTLINE_TEST_FIGURES) console.log(figures(false));
    expect(held).toBeGreaterThan(50);
    // A step of 0.002 curl of a thumb is up to 0.4 mm.
    expect(deepestM).toBeLessThan(5e-4);
    // Where the path that it would have come crosses the capsule, it is not held from afar.
    expect(earliestM).toBeGreaterThan(-1e-3);
  });

  it('closes on its path as the hand would show it, whatever the other fingers do meanwhile', () => {
    const random = seeded(5);
    const path = createClosingPath(skeleton, profile, natural);
    const points = new Float64Array(12);
    const others = [0.2, 0.4, 0.5, 0.3];
    for (let frame = 0; frame < 400; frame++) {
      const pace = frame % 10 === 9 ? 0.5 : 0.02;
      for (let i = 0; i < 4; i++)
        others[i] = Math.min(Math.max(others[i] + between(random, -pace, pace), 0), 1);
      show([between(random, 0, 1), ...others]);
      followPose(path, dofs, poses, [between(random, 0, 1), ...others], [0, ...others]);
      // At every other row of the table exactly; between them it is laid straight.
      const isRow = frame % 2 === 0;
      const curl = isRow ? Math.floor(between(random, 0, 32)) / 32 : between(random, 0, 1);
      show([curl, ...others]);
      followPose(path, dofs, poses, [curl, ...others]);
      jointsAt(path, THUMB, curl, path.frames.subarray(0, 12), points);
      for (let joint = 0; joint < 4; joint++) {
        const off = [0, 1, 2].map(
          (axis) => points[joint * 3 + axis] - poses[(THUMB_START + joint) * POSE_STRIDE + axis],
        );
        expect(Math.hypot(...off)).toBeLessThan(isRow ? 1e-6 : 7e-4);
      }
    }
  });

  it('goes no faster on its path than is said of it', () => {
    const random = seeded(6);
    const path = createClosingPath(skeleton, profile, natural);
    const [before, after] = [new Float64Array(12), new Float64Array(12)];
    const frame = path.frames.subarray(0, 12);
    for (let hand = 0; hand < 200; hand++) {
      const curls = Array.from({ length: 5 }, () => between(random, 0, 1));
      show(curls);
      followPose(path, dofs, poses, curls);
      const from = between(random, 0, 0.99);
      const to = between(random, from, 1);
      jointsAt(path, THUMB, from, frame, before);
      jointsAt(path, THUMB, to, frame, after);
      for (let joint = 1; joint < 4; joint++) {
        const way = Math.hypot(
          ...[0, 1, 2].map((axis) => after[joint * 3 + axis] - before[joint * 3 + axis]),
        );
        expect(way).toBeLessThanOrEqual(speedFrom(path, THUMB, from, joint) * (to - from) + 1e-12);
      }
    }
  });

  it('meets what a search without memory finds, while the other fingers lead it about', () => {
    const random = seeded(8);
    let met = 0;
    for (let number = 0; number < 40; number++) {
      const radius = between(random, 0.02, 0.04);
      const position: [number, number, number] = [
        between(random, -0.05, 0.01),
        between(random, -0.08, -0.04),
        between(random, -0.13, -0.07),
      ];
      const shape = { kind: 'sphere' as const, radius };
      const warm = new Touches(skeleton, profile, {}, natural);
      const curls = Array.from({ length: 5 }, () => between(random, 0, 0.5));
      for (let frame = 0; frame < 40; frame++) {
        const pace = frame % 10 < 3 ? 0 : frame % 20 === 19 ? 0.5 : 0.02;
        for (let i = 0; i < 5; i++) {
          curls[i] = Math.min(Math.max(curls[i] + between(random, -pace, pace), 0), 1);
        }
        show(curls);
        const stops = [warm, new Touches(skeleton, profile, {}, natural)].map((touches) => {
          const contacts = createTouchContacts();
          touches.set('a', undefined, { type: 'touch', hand: 'right', shape, position }, 0);
          touches.solve(0, dofs, poses, 'wrist', contacts, curls);
          return touches.live[0].contacts[THUMB].stop;
        });
        if (stops[1] <= 1) met++;
        // One may have found a graze that the other stepped over.
        if (Math.abs(stops[0] - stops[1]) <= 1e-3 || stops[0] === stops[1]) continue;
        const graze = Math.min(...stops) + 0.001;
        show([graze, ...curls.slice(1)]);
        const distance = inFrame(distanceOf(shape), [...position, 0, 0, 0, 1]);
        const gap = Math.min(...[2, 3, 4].map((joint) => boneGap(distance, poses, joint)));
        expect(gap, `case ${number}, frame ${frame}`).toBeGreaterThan(-5e-4);
      }
    }
    expect(met).toBeGreaterThan(300);
  });

  it('is stopped where it will meet the thing once the other fingers are at it', () => {
    const random = seeded(12);
    const late: number[] = [];
    const foreseen: number[] = [];
    for (let grasp = 0; grasp < 300; grasp++) {
      const touches = new Touches(skeleton, profile, {}, natural);
      const contacts = createTouchContacts();
      const radius = between(random, 0.025, 0.04);
      const position: [number, number, number] = [
        between(random, -0.015, 0.01),
        -between(random, radius + 0.012, radius + 0.02),
        between(random, -0.12, -0.09),
      ];
      const stopAt = (curls: readonly number[], rates?: readonly number[]): number => {
        show(curls);
        touches.set(
          'a',
          undefined,
          { type: 'touch', hand: 'right', shape: { kind: 'sphere', radius }, position },
          0,
        );
        touches.solve(0, dofs, poses, 'wrist', contacts, curls, rates);
        return Math.min(contacts.stop[THUMB], 1);
      };
      stopAt([0, 0, 0, 0, 0]);
      const others = [...contacts.stop.slice(1)].map((stop) => Math.min(stop, 1));
      const there = stopAt([0, ...others], [0, 0, 0, 0, 0]);
      if (!(there > 0.15 && there < 0.9)) continue;
      // Half way, in a grasp of half a second.
      const half = others.map((curl) => curl / 2);
      const rates = others.map(() => 4);
      late.push(Math.abs(stopAt([0.1, ...half], [0, 0, 0, 0, 0]) - there));
      foreseen.push(Math.abs(stopAt([0.1, ...half], [0, ...rates]) - there));
    }
    expect(late.length).toBeGreaterThan(50);
    const mean = (values: readonly number[]) => values.reduce((sum, value) => sum + value, 0) / values.length;
    if (process.env.TAUTLINE_TEST_FIGURES) console.log(late.length, mean(late), mean(foreseen));
    expect(mean(foreseen)).toBeLessThan(0.3 * mean(late));
  });

  it('waits for the surface where it is while the other fingers lead it there, and is free when they do not', () => {
    const touches = new Touches(skeleton, profile, {}, natural);
    const contacts = createTouchContacts();
    const position: [number, number, number] = [0, -0.055, -0.1];
    const solve = (curls: readonly number[], rates: readonly number[]): void => {
      show(curls);
      const shape = { kind: 'sphere' as const, radius: 0.035 };
      touches.set('a', undefined, { type: 'touch', hand: 'right', shape, position }, 0);
      touches.solve(0, dofs, poses, 'wrist', contacts, curls, rates);
    };
    const still = [0, 0, 0, 0, 0];
    solve(still, still);
    const others = [...contacts.stop.slice(1)].map((stop) => Math.min(stop, 1));
    solve([0, ...others], still);
    const there = contacts.stop[THUMB];
    solve(still, still);
    const now = contacts.stop[THUMB];
    expect(there).toBeLessThan(now - 0.02);
    // Between the two the thumb is clear as yet.
    const between_ = (there + now) / 2;
    solve([between_, 0, 0, 0, 0], [0, 5, 5, 5, 5]);
    expect(contacts.stop[THUMB]).toBeCloseTo(between_, 6);
    solve([between_, 0, 0, 0, 0], still);
    expect(contacts.stop[THUMB]).toBeCloseTo(now, 2);
  });
});
