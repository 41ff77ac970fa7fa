import { describe, expect, it } from 'vitest';
import {
  CHAIN_START,
  createSkeleton,
  FINGER_BASE,
  FINGERS,
  JOINT_COUNT,
  JOINT_NAMES,
  PALM,
  POSE_STRIDE,
} from '../../src/hand/index.js';

const joint = (name: (typeof JOINT_NAMES)[number]) => JOINT_NAMES.indexOf(name);

describe('createSkeleton', () => {
  it('makes the breadth over the knuckles, skin to skin, the hand breadth', () => {
    const { restPoses, radii } = createSkeleton({ side: 'right', lengthM: 0.19, breadthM: 0.085 });
    const index = joint('index-finger-phalanx-proximal');
    const little = joint('pinky-finger-phalanx-proximal');
    const span = restPoses[little * POSE_STRIDE] - restPoses[index * POSE_STRIDE];
    expect(span + radii[little] + radii[index]).toBeCloseTo(0.085, 9);
  });

  it('gives every joint a radius of its own size, in proportion to the hand', () => {
    const small = createSkeleton({ side: 'right', lengthM: 0.16 });
    const large = createSkeleton({ side: 'right', lengthM: 0.2 });
    for (let i = 0; i < JOINT_COUNT; i++) {
      expect(small.radii[i], JOINT_NAMES[i]).toBeGreaterThan(0.004);
      expect(large.radii[i] / small.radii[i]).toBeCloseTo(1.25, 9);
    }
    for (const [finger, name] of FINGERS.entries()) {
      const start = CHAIN_START[finger];
      for (let i = 1; i < 4; i++)
        expect(large.radii[start + i], name).toBeLessThan(large.radii[start + i - 1]);
    }
  });

  it('puts the palm in the middle of the middle metacarpal, turned like it', () => {
    const { restPoses } = createSkeleton({ side: 'left' });
    const at = (i: number) => restPoses.subarray(i * POSE_STRIDE, i * POSE_STRIDE + 7);
    const base = at(FINGER_BASE[2]);
    const knuckle = at(FINGER_BASE[2] + 1);
    const palm = at(PALM);
    for (let k = 0; k < 3; k++) expect(palm[k]).toBeCloseTo((base[k] + knuckle[k]) / 2, 9);
    for (let k = 3; k < 7; k++) expect(palm[k]).toBeCloseTo(base[k], 12);
  });

  it('takes measured bone lengths and leaves the other fingers in proportion', () => {
    const measured = { index: [0.07, 0.045, 0.027, 0.024], thumb: [0.046, 0.034, 0.03] };
    const plain = createSkeleton({ side: 'right' });
    const own = createSkeleton({ side: 'right', boneLengthsM: measured });
    expect(own.boneLengthsM.index).toEqual(measured.index);
    expect(own.boneLengthsM.thumb).toEqual(measured.thumb);
    expect(own.boneLengthsM.ring).toEqual(plain.boneLengthsM.ring);
    const index = FINGER_BASE[1];
    for (let bone = 0; bone < 4; bone++) {
      const a = own.restPoses.subarray((index + bone) * POSE_STRIDE);
      const b = own.restPoses.subarray((index + bone + 1) * POSE_STRIDE);
      const tip = bone === 3 ? own.radii[index + 4] : 0;
      expect(Math.hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2]) + tip).toBeCloseTo(measured.index[bone], 9);
    }
  });

  it('builds the same skeleton again from the bone lengths it reports', () => {
    const first = createSkeleton({ side: 'left', lengthM: 0.177, breadthM: 0.081 });
    expect(createSkeleton(first).restPoses).toEqual(first.restPoses);
  });

  it('refuses sizes no hand has, naming the length and the bounds', () => {
    expect(() => createSkeleton({ side: 'left', lengthM: 190 })).toThrow(
      /hand length is 190 m; expected 0.08 to 0.3 m/,
    );
    expect(() => createSkeleton({ side: 'left', breadthM: Number.NaN })).toThrow(/hand breadth/);
    expect(() => createSkeleton({ side: 'left', boneLengthsM: { ring: [0.06, 0.04] } })).toThrow(
      /ring needs 4 bone lengths, got 2/,
    );
    const shortTip = [0.06, 0.04, 0.02, 0.006];
    expect(() => createSkeleton({ side: 'left', boneLengthsM: { ring: shortTip } })).toThrow(
      /ring distal bone is 0.006 m; it must be longer/,
    );
  });
});
