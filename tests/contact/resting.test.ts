import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { createResting, PRESSED_M } from '../../src/contact/resting.js';
import { createTouchContacts, Touches } from '../../src/contact/touches.js';
import {
  CHAIN_START,
  createHandModel,
  createPoses,
  DOF_COUNT,
  FINGERS,
  forwardKinematics,
  naturalMotion,
  POSE_STRIDE,
  setCurl,
} from '../../src/hand/index.js';
import type { AppMessageOf } from '../../src/protocol/messages.js';

const { skeleton, closing, natural } = createHandModel({ side: 'right' });
const SAMPLE_US = 10_000;
type Shape = AppMessageOf<'touch'>['shape'];
const SHAPES: Record<string, Shape> = {
  sphere: { kind: 'sphere', radius: 0.035 },
  box: { kind: 'box', size: [0.06, 0.05, 0.06] },
  capsule: { kind: 'capsule', radius: 0.028, length: 0.08 },
  hull: {
    kind: 'hull',
    points: [-1, 1].flatMap((x) =>
      [-1, 1].flatMap((y) => [-1, 1].map((z): [number, number, number] => [x * 0.03, y * 0.025, z * 0.03])),
    ),
  },
};

/** A hand before a shape in its palm, sample by sample. */
function createScene(shape: Shape) {
  /** Of the stops that hold it; changed by the test. */
  const gives = new Float64Array(FINGERS.length);
  const touches = new Touches(skeleton, closing);
  const contacts = createTouchContacts();
  const resting = createResting(closing);
  const poses = createPoses();
  const shown = new Float64Array(DOF_COUNT);
  const dofs = new Float64Array(DOF_COUNT);
  let timeUs = 0;
  const request: AppMessageOf<'touch'> = {
    type: 'touch',
    hand: 'right',
    shape,
    space: 'palm',
    position: [0, -0.055, -0.03],
  };
  const touch = () => touches.set('app', '', request, timeUs);
  touch();
  return {
    contacts,
    gives,
    resting,
    dofs,
    shown,
    touch,
    letGo: () => touches.drop('app'),
    /** @returns the shown poses */
    sample(curls: readonly number[]): Float64Array {
      timeUs += SAMPLE_US;
      if (touches.live.length > 0) touch();
      dofs.fill(0);
      for (let finger = 0; finger < FINGERS.length; finger++) setCurl(closing, finger, curls[finger], dofs);
      naturalMotion(natural, dofs, curls);
      forwardKinematics(skeleton, dofs, poses);
      touches.solve(timeUs, dofs, poses, 'wrist', contacts, curls);
      resting.update(timeUs, dofs, contacts, curls, gives);
      shown.set(dofs);
      resting.rest(shown);
      forwardKinematics(skeleton, shown, poses);
      return poses;
    },
    /** How deep the shown fingers are, m; undefined where nothing is in the way. */
    depths(): (number | undefined)[] {
      const again = createTouchContacts();
      // Another solver: this one goes on from what it solved last.
      const others = new Touches(skeleton, closing);
      others.set('app', '', request, timeUs);
      forwardKinematics(skeleton, shown, poses);
      others.solve(timeUs, shown, poses, 'wrist', again);
      return again.contact.map((contact) => contact?.depth);
    },
  };
}

const tips = (poses: Float64Array): number[][] =>
  CHAIN_START.map((start) => [...poses.subarray((start + 3) * POSE_STRIDE, (start + 3) * POSE_STRIDE + 3)]);
const farthest = (a: number[][], b: number[][]): number =>
  Math.max(...a.map((p, i) => Math.hypot(...p.map((v, k) => v - b[i][k]))));

/** Curls that go from place to place by at most 0.04 a sample. */
const motions = fc
  .array(fc.array(fc.double({ min: 0, max: 1, noNaN: true }), { minLength: 5, maxLength: 5 }), {
    minLength: 2,
    maxLength: 4,
  })
  .map((goals) => {
    const path: number[][] = [];
    let at = [0, 0, 0, 0, 0];
    for (const goal of goals) {
      while (at.some((curl, i) => curl !== goal[i])) {
        at = at.map((curl, i) => curl + Math.min(Math.max(goal[i] - curl, -0.04), 0.04));
        path.push(at);
      }
    }
    return path;
  });

describe.each(Object.keys(SHAPES))('a hand about a %s', (kind) => {
  it('is shown outside it, within 0.5 mm of the surface where it is measured inside', () => {
    fc.assert(
      fc.property(motions, (path) => {
        const scene = createScene(SHAPES[kind]);
        for (const curls of path) scene.sample(curls);
        const measured = scene.contacts.contact.map((contact) => contact?.depth);
        const pressed = [...scene.resting.pressures];
        const depths = scene.depths();
        measured.forEach((depth, finger) => {
          if (depth === undefined) return;
          if (depth > 1e-5) {
            expect(Math.abs(depths[finger]!), FINGERS[finger]).toBeLessThan(0.0005);
            expect(pressed[finger], FINGERS[finger]).toBeGreaterThan(0);
          } else if (path.at(-1)![finger] < scene.contacts.stop[finger]) {
            expect(scene.shown.subarray(finger * 4, finger * 4 + 4)).toEqual(
              scene.dofs.subarray(finger * 4, finger * 4 + 4),
            );
            expect(pressed[finger], FINGERS[finger]).toBe(0);
          }
        });
      }),
      { numRuns: 40 },
    );
  });

  it('rests on it where a stop before the surface holds it, and comes there evenly', () => {
    fc.assert(
      fc.property(fc.double({ min: 0.005, max: 0.05, noNaN: true }), (give) => {
        const scene = createScene(SHAPES[kind]);
        scene.gives.fill(give);
        const curls = [0.2, 0, 0, 0, 0];
        let before: number[][] | undefined;
        for (let curl = 0; curl < 1; curl += 0.002) {
          curls.fill(curl, 1);
          const now = tips(scene.sample(curls)).slice(1);
          // Some twice as far as it is measured to go, at most.
          if (before) expect(farthest(now, before)).toBeLessThan(2.5 * 0.002 * 0.22);
          before = now;
          const depths = scene.depths();
          for (let finger = 1; finger < FINGERS.length; finger++) {
            const stop = scene.contacts.stop[finger];
            if (!scene.contacts.contact[finger] || curl < stop - give || curl > 0.98) continue;
            expect(Math.abs(depths[finger]!), FINGERS[finger]).toBeLessThan(0.0007);
            if (curl > stop - give + 0.001) expect(scene.resting.pressures[finger]).toBeGreaterThan(0);
          }
        }
      }),
      { numRuns: 8 },
    );
  });

  it('never jumps: as it meets the surface and leaves it, and as the shape is let go of and comes again', () => {
    fc.assert(
      fc.property(motions, fc.nat(60), fc.nat(60), fc.nat(60), (path, letGoAt, touchAt, heldAt) => {
        const scene = createScene(SHAPES[kind]);
        let before: number[][] | undefined;
        let pressures = [0, 0, 0, 0, 0];
        path.forEach((curls, i) => {
          if (i === letGoAt) scene.letGo();
          if (i === touchAt) scene.touch();
          scene.gives.fill(i >= heldAt && i < heldAt + 20 ? 0.03 : 0);
          const now = tips(scene.sample(curls));
          // 0.04 of curl, 0.02 more as a finger is given back, 0.03 as its stop takes hold or lets go, or 0.12 as it is taken
          // out: 0.21 m for a whole curl.
          const most = (i >= Math.min(letGoAt, touchAt) ? 0.19 : 0.09) * 0.22;
          if (before) {
            expect(farthest(now.slice(1), before.slice(1))).toBeLessThan(most);
            // The thumb is guided by four others, too: 0.2 m for a whole curl of each.
            expect(farthest(now.slice(0, 1), before.slice(0, 1))).toBeLessThan(most + 4 * 0.04 * 0.2);
          }
          before = now;
          scene.resting.pressures.forEach((pressure, finger) => {
            // 0.12 of curl is 25 mm at most: five times the depth at which pressure is half.
            expect(Math.abs(pressure - pressures[finger])).toBeLessThan(0.85);
            expect(pressure).toBeGreaterThanOrEqual(0);
            expect(pressure).toBeLessThan(1);
          });
          pressures = [...scene.resting.pressures];
        });
      }),
      { numRuns: 40 },
    );
  });
});

it('says 0.5 at the depth of its name, and eases a finger back when the shape is gone', () => {
  const scene = createScene(SHAPES.sphere);
  let curl = 0;
  while (!(scene.contacts.contact[1] && scene.contacts.contact[1].depth > PRESSED_M)) {
    curl += 0.002;
    scene.sample([0.2, curl, 0, 0, 0]);
  }
  expect(scene.resting.pressures[1]).toBeCloseTo(0.5, 1);
  scene.letGo();
  const tipGap = (): number => {
    const poses = createPoses();
    forwardKinematics(skeleton, scene.dofs, poses);
    return Math.hypot(...tips(scene.sample([0.2, curl, 0, 0, 0]))[1].map((v, k) => v - tips(poses)[1][k]));
  };
  const gaps = Array.from({ length: 12 }, tipGap);
  expect(gaps[0]).toBeGreaterThan(0.001);
  for (let i = 1; i < gaps.length; i++) {
    expect(gaps[i]).toBeLessThanOrEqual(gaps[i - 1] + 1e-9);
    expect(gaps[i - 1] - gaps[i]).toBeLessThan(0.005);
  }
  expect(gaps.at(-1)).toBeLessThan(1e-6);
  expect(scene.resting.pressures[1]).toBe(0);
});
