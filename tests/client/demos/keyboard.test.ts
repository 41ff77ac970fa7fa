import { describe, expect, it } from 'vitest';
import { NO_STOP } from '../../../src/contact/finger-contact.js';
import { createTouchContacts, Touches } from '../../../src/contact/touches.js';
import {
  createClosingProfile,
  createPoses,
  createSkeleton,
  DOF_COUNT,
  forwardKinematics,
  HAND_SIDES,
  type HandSide,
  JOINT_NAMES,
  setCurl,
} from '../../../src/hand/index.js';
import type { Shape } from '../../../src/protocol/messages.js';

interface Key {
  finger: string;
  pressed: number;
  down: boolean;
}
interface Keyboard {
  createKeys(skeleton: { restPoses: number[][]; radiiM: number[] }, joints: readonly string[]): Key[];
  bottomOf(keys: Key[], travel: number): Shape;
  press(keys: Key[], poses: ArrayLike<number>, travel: number): Key[];
}
const { createKeys, bottomOf, press } = (await import(
  '../../../src/client/demos/keyboard.js' as string
)) as Keyboard;

const profile = createClosingProfile();
const TRAVEL = 0.006;

/** A hand on its keys, stopped by them as the service does it. */
function atKeys(side: HandSide, lengthM: number, travel = TRAVEL) {
  const skeleton = createSkeleton({ side, lengthM });
  const restPoses = JOINT_NAMES.map((_, joint) => [...skeleton.restPoses.subarray(joint * 8, joint * 8 + 7)]);
  const keys = createKeys({ restPoses, radiiM: [...skeleton.radii] }, JOINT_NAMES);
  const touches = new Touches(skeleton, profile);
  const contacts = createTouchContacts();
  const dofs = new Float64Array(DOF_COUNT);
  const poses = createPoses();
  const shape = bottomOf(keys, travel);
  return {
    keys,
    poses,
    touch: () => touches.set('keys', undefined, { type: 'touch', hand: side, shape, position: [0, 0, 0] }, 0),
    solve(curls: readonly number[]) {
      for (const [finger, curl] of curls.entries()) setCurl(profile, finger, curl, dofs);
      forwardKinematics(skeleton, dofs, poses);
      touches.solve(0, dofs, poses, 'wrist', contacts);
      return [...contacts.stop];
    },
  };
}
const all = (curl: number): number[] => [curl, curl, curl, curl, curl];

describe.each(HAND_SIDES.flatMap((side) => [0.16, 0.19, 0.215].map((lengthM) => [side, lengthM] as const)))(
  'keys under a %s hand of %f m',
  (side, lengthM) => {
    it('stop each finger soon after it is bent, where its key is down and no sooner', () => {
      const { keys, poses, touch, solve } = atKeys(side, lengthM);
      expect(touch()).toBeUndefined();
      const stops = solve(all(0));
      expect(press(keys, poses, TRAVEL)).toEqual([]);
      for (const stop of stops.slice(1)) {
        expect(stop).toBeGreaterThan(0.03);
        expect(stop).toBeLessThan(0.3);
      }
      // The thumb has none, and goes far before it meets the side of its neighbour's.
      expect(stops[0]).toBeGreaterThan(0.5);
      solve(stops.map((stop, finger) => (finger === 0 ? 0 : stop)));
      expect(press(keys, poses, TRAVEL).map(({ finger }) => finger)).toEqual([
        'index',
        'middle',
        'ring',
        'little',
      ]);
      for (const { pressed } of keys) expect(pressed).toBeGreaterThan(0.8);
    });

    it('go on stopping a finger that was faster than its stop', () => {
      const { touch, solve } = atKeys(side, lengthM);
      touch();
      const [, stop] = solve(all(0));
      const late = solve(all(stop + 0.15));
      for (const each of late.slice(1)) expect(each).not.toBe(NO_STOP);
    });

    it('sound once for each press', () => {
      const { keys, poses, touch, solve } = atKeys(side, lengthM);
      touch();
      const stops = solve(all(0));
      let struck = 0;
      for (const part of [0, 1, 0.9, 1, 0.9, 0, 1]) {
        solve(stops.map((stop, finger) => (finger === 1 ? stop * part : 0)));
        struck += press(keys, poses, TRAVEL).length;
      }
      expect(struck).toBe(2);
    });
  },
);

it('the longer the travel, the later the stop', () => {
  const stops = [0.002, 0.006, 0.014].map((travel) => {
    const { touch, solve } = atKeys('right', 0.19, travel);
    touch();
    return solve(all(0))[1];
  });
  expect(stops[0]).toBeLessThan(stops[1]);
  expect(stops[1]).toBeLessThan(stops[2]);
});
