import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import type { ChannelProfile, GloveProfile } from '../../src/config/schema.js';
import { createPoses, forwardKinematics } from '../../src/hand/forward.js';
import { createSkeleton } from '../../src/hand/skeleton.js';
import { INPUT_POSES, inputPosePaths, updateInputPoses } from '../../src/sensing/input-poses.js';
import { applyDeadZone, createInputs } from '../../src/sensing/inputs.js';
import { createSensing } from '../../src/sensing/sensing.js';
import { CURL_ROLES, channel, feedTo, gloveWith } from './glove-signals.js';

const curls = CURL_ROLES.map((role) => channel(role));

function wear(channels: ChannelProfile[], more: Partial<GloveProfile> = {}) {
  const glove = { ...gloveWith(channels), ...more };
  const sensing = createSensing({ glove });
  const inputs = createInputs(glove);
  const skeleton = createSkeleton({ side: glove.hand });
  const poses = createPoses();
  const feed = feedTo(
    {
      update(samples, timeUs) {
        sensing.update(samples, timeUs);
        forwardKinematics(skeleton, sensing.dofs, poses);
        inputs.update(sensing, poses);
      },
    },
    500,
  );
  let at = channels.map((c) => c.centre ?? c.open);
  const go = (to: number[], buttons = 0, samples = 400) => {
    const from = at;
    for (let k = 1; k <= samples; k++) {
      const t = Math.min(1, k / 100);
      at = from.map((c, i) => Math.round(c + t * (to[i] - c)));
      feed.send(at, buttons);
    }
  };
  const value = (path: string) => inputs.values[inputs.indexOf(`/user/hand/${glove.hand}/input/${path}`)];
  return { sensing, inputs, poses, go, value };
}

describe('inputs', () => {
  it('makes trigger, squeeze and grasp of curls', () => {
    const { go, value } = wear(curls);
    go([500, 500, 500, 500, 500]);
    for (const path of ['trigger/value', 'squeeze/value', 'grasp_ext/value', 'aim_activate_ext/value']) {
      expect(value(path), path).toBe(0);
    }
    expect(value('grasp_ext/ready_ext')).toBe(0);
    go([500, 3500, 500, 500, 500]);
    expect(value('trigger/value')).toBe(1);
    expect(value('aim_activate_ext/ready_ext')).toBe(1);
    expect(value('squeeze/value')).toBe(0);
    go([3500, 3500, 3500, 3500, 3500]);
    expect(value('squeeze/value')).toBe(1);
    expect(value('grasp_ext/value')).toBe(1);
    expect(value('grasp_ext/ready_ext')).toBe(1);
  });

  it('prefers channels of their own', () => {
    const { go, value } = wear([...curls, channel('trigger'), channel('squeeze')]);
    go([500, 3500, 500, 500, 500, 500, 2000]);
    expect(value('trigger/value')).toBe(0);
    expect(value('squeeze/value')).toBeCloseTo(0.5, 2);
  });

  it('reads a stick from its centre, with a dead zone', () => {
    const stick = { open: 200, centre: 1900, closed: 3900 };
    const { go, value } = wear([channel('stick.x', stick), channel('stick.y', stick)]);
    go([1900, 1900]);
    expect([value('thumbstick/x'), value('thumbstick/y')]).toEqual([0, 0]);
    go([3900, 1950]);
    expect(value('thumbstick/x')).toBeCloseTo(1, 2);
    go([1900, 200]);
    expect(value('thumbstick/y')).toBeCloseTo(-1, 2);
    go([2000, 1850]);
    expect([value('thumbstick/x'), value('thumbstick/y')]).toEqual([0, 0]);
  });

  it('dead zone: never longer than 1, direction kept, monotone, nothing inside', () => {
    const out = new Float64Array(2);
    const axis = fc.double({ min: -1.04, max: 1.04, noNaN: true });
    fc.assert(
      fc.property(axis, axis, fc.double({ min: 0, max: 0.9, noNaN: true }), (x, y, zone) => {
        applyDeadZone(x, y, zone, out);
        const length = Math.hypot(out[0], out[1]);
        expect(length).toBeLessThanOrEqual(1 + 1e-12);
        if (Math.hypot(x, y) <= zone) expect(length).toBe(0);
        expect(Math.abs(out[0] * y - out[1] * x)).toBeLessThan(1e-9);
        applyDeadZone(x * 0.9, y * 0.9, zone, out);
        expect(Math.hypot(out[0], out[1])).toBeLessThanOrEqual(length + 1e-12);
      }),
    );
  });

  it('debounces buttons and names them for each hand', () => {
    const buttons = { a: 0, b: 3, menu: 4, thumbstick: 5 };
    const right = wear(curls, { buttons });
    const open = [500, 500, 500, 500, 500];
    right.go(open);
    right.go(open, 1, 3);
    expect(right.value('a/click')).toBe(0);
    right.go(open, 0, 5);
    right.go(open, 1 | 8, 10);
    expect(right.value('a/click')).toBe(1);
    expect(right.value('b/click')).toBe(1);
    expect(right.value('menu/click')).toBe(0);
    right.go(open, 0, 3);
    expect(right.value('a/click')).toBe(1);
    right.go(open, 0, 10);
    expect(right.value('a/click')).toBe(0);

    const left = wear(curls, { buttons, hand: 'left' });
    left.go(open, 1 | 32, 20);
    expect(left.value('x/click')).toBe(1);
    expect(left.value('thumbstick/click')).toBe(1);
    expect(left.inputs.paths.some((path) => path.includes('a/click'))).toBe(false);
  });

  it('pinches when thumb and index meet', () => {
    const { go, value, poses } = wear(curls);
    go([500, 500, 500, 500, 500]);
    expect(value('pinch_ext/value')).toBe(0);
    expect(value('pinch_ext/ready_ext')).toBe(0);
    let most = 0;
    for (let c = 500; c <= 3500; c += 250) {
      go([c, c, 500, 500, 500], 0, 200);
      most = Math.max(most, value('pinch_ext/value'));
    }
    expect(most).toBeGreaterThan(0.5);
    expect(poses[7]).toBeGreaterThan(0);
  });

  // XR_EXT_hand_interaction, 1.1: a value is 0 while its ready_ext is false.
  it('gives a gesture no value before it is ready', () => {
    const { go, value } = wear(curls);
    const gestures = ['pinch_ext', 'aim_activate_ext', 'grasp_ext'];
    const met = new Set<string>();
    for (let turn = 0; turn < 2; turn++) {
      for (let step = 0; step <= 60; step++) {
        const c = 500 + 50 * (turn ? 60 - step : step);
        go([c, c, c, c, c], 0, 20);
        for (const name of gestures) {
          const ready = value(`${name}/ready_ext`) === 1;
          if (ready) met.add(name);
          else expect(value(`${name}/value`), `${name} at ${c}`).toBe(0);
        }
      }
    }
    expect([...met].sort()).toEqual([...gestures].sort());
  });

  it('tells a change only when there is one', () => {
    const { go, inputs } = wear(curls);
    go([500, 500, 500, 500, 500]);
    const before = inputs.version;
    go([500, 500, 500, 500, 500]);
    expect(inputs.version).toBe(before);
    go([500, 3000, 500, 500, 500], 0, 120);
    expect(inputs.version).toBeGreaterThan(before);
  });
});

describe('poses for held and pointed things', () => {
  const rotate = (q: ArrayLike<number>, v: number[]) => {
    const [x, y, z, w] = Array.from(q);
    const t = [2 * (y * v[2] - z * v[1]), 2 * (z * v[0] - x * v[2]), 2 * (x * v[1] - y * v[0])];
    return [
      v[0] + w * t[0] + y * t[2] - z * t[1],
      v[1] + w * t[1] + z * t[0] - x * t[2],
      v[2] + w * t[2] + x * t[1] - y * t[0],
    ];
  };
  for (const side of ['left', 'right'] as const) {
    it(`follow OpenXR's text on a flat ${side} hand`, () => {
      const poses = createPoses();
      const out = new Float64Array(INPUT_POSES.length * 7);
      forwardKinematics(createSkeleton({ side }), new Float64Array(22), poses);
      updateInputPoses(side, poses, out);
      expect(inputPosePaths(side)[0]).toBe(`/user/hand/${side}/input/grip/pose`);
      const grip = out.subarray(3, 7);
      // Palm down: away from the palm is down. +X: away from the palm (left), into the palm (right).
      expect(rotate(grip, [1, 0, 0])[1] * (side === 'left' ? -1 : 1)).toBeGreaterThan(0.9);
      // -Z from little finger to thumb: to -x on a right hand.
      expect(rotate(grip, [0, 0, -1])[0] * (side === 'left' ? 1 : -1)).toBeGreaterThan(0.9);
      expect(Math.hypot(...grip)).toBeCloseTo(1, 12);
      // On the skin under the palm joint.
      expect(out[1]).toBeLessThan(poses[1] - 0.005);
      // Aim and poke point ahead, with the nail up.
      for (const at of [7, 21]) {
        expect(rotate(out.subarray(at + 3, at + 7), [0, 0, -1])[2]).toBeLessThan(-0.9);
        expect(rotate(out.subarray(at + 3, at + 7), [0, 1, 0])[1]).toBeGreaterThan(0.9);
      }
      // The pinch, by XR_EXT_hand_interaction, 1.1, with the fingers bent towards each other.
      const dofs = new Float64Array(22);
      dofs.set([0.2, 0.5, 0.3, 0.4, 0.7, 0, 0.9, 0.6]);
      forwardKinematics(createSkeleton({ side }), dofs, poses);
      updateInputPoses(side, poses, out);
      const joint = (index: number) => [0, 1, 2].map((i) => poses[index * 8 + i]);
      const between = (a: number[], b: number[]) => a.map((x, i) => (x + b[i]) / 2);
      const pinch = Array.from(out.subarray(14, 21));
      const tips = between(joint(5), joint(10));
      for (let i = 0; i < 3; i++) expect(pinch[i]).toBeCloseTo(tips[i], 12);
      const way = between(joint(3), joint(7)).map((x, i) => x - tips[i]);
      const ahead = rotate(pinch.slice(3), [0, 0, 1]);
      for (let i = 0; i < 3; i++) expect(ahead[i]).toBeCloseTo(way[i] / Math.hypot(...way), 9);
      // +Y to the thumb: at -x of a right hand.
      expect(rotate(pinch.slice(3), [0, 1, 0])[0] * (side === 'left' ? 1 : -1)).toBeGreaterThan(0.5);
      expect(Math.hypot(...pinch.slice(3))).toBeCloseTo(1, 12);
      forwardKinematics(createSkeleton({ side }), new Float64Array(22), poses);
      updateInputPoses(side, poses, out);
      // The poke is at the very end of the index finger: one radius beyond its tip joint.
      const tip = 10 * 8;
      const d = Math.hypot(out[21] - poses[tip], out[22] - poses[tip + 1], out[23] - poses[tip + 2]);
      expect(d).toBeCloseTo(poses[tip + 7], 12);
      expect(out[23]).toBeLessThan(poses[tip + 2]);
    });
  }
});
