/** Bone lengths, hand sizes and ranges of motion against published tables. All numbers are quoted from memory. */
import { describe, expect, it } from 'vitest';
import {
  createPoses,
  createSkeleton,
  DOF_MAX,
  DOF_MIN,
  DOF_NAMES,
  type DofName,
  HAND_SURVEY,
  JOINT_NAMES,
  type JointName,
  POSE_STRIDE,
} from '../../src/hand/index.js';

/** Buchholz, Armstrong & Goldstein, Ergonomics 35(3), 1992: fractions of hand length. */
const BUCHHOLZ = {
  thumb: [0.251, 0.196, 0.158],
  'index-finger': [0.463, 0.245, 0.143, 0.097],
  'middle-finger': [0.446, 0.266, 0.17, 0.108],
  'ring-finger': [0.421, 0.244, 0.165, 0.107],
  'pinky-finger': [0.414, 0.204, 0.117, 0.093],
} as const;

function at(poses: Float64Array, name: JointName): Float64Array {
  const start = JOINT_NAMES.indexOf(name) * POSE_STRIDE;
  return poses.subarray(start, start + POSE_STRIDE);
}

function distance(poses: Float64Array, from: JointName, to: JointName): number {
  const a = at(poses, from);
  const b = at(poses, to);
  return Math.hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2]);
}

describe('bone lengths (Buchholz et al., 1992)', () => {
  for (const lengthM of [0.165, 0.1875, 0.21]) {
    it(`are the table's in a hand of ${lengthM} m`, () => {
      const poses = createSkeleton({ side: 'right', lengthM }).restPoses;
      for (const [prefix, [metacarpal, proximal, ...distal]] of Object.entries(BUCHHOLZ)) {
        const joint = (part: string) => `${prefix}-${part}` as JointName;
        // Index to little: from the wrist, carpal bones included (see the docstring of BUCHHOLZ_FRACTIONS).
        const carpal = prefix === 'thumb' ? joint('metacarpal') : 'wrist';
        expect(distance(poses, carpal, joint('phalanx-proximal'))).toBeCloseTo(metacarpal * lengthM, 9);
        const next = prefix === 'thumb' ? 'phalanx-distal' : 'phalanx-intermediate';
        expect(distance(poses, joint('phalanx-proximal'), joint(next))).toBeCloseTo(proximal * lengthM, 9);
        if (prefix !== 'thumb') {
          expect(distance(poses, joint(next), joint('phalanx-distal'))).toBeCloseTo(distal[0] * lengthM, 9);
        }
        // The distal segment ends at the skin: one tip radius beyond the tip joint.
        const tipRadius = at(poses, joint('tip'))[7];
        const toSkin = distance(poses, joint('phalanx-distal'), joint('tip')) + tipRadius;
        expect(toSkin).toBeCloseTo(distal[distal.length - 1] * lengthM, 9);
      }
    });
  }

  it('add up: a straight middle finger reaches the hand length within 2 %', () => {
    const lengthM = 0.19;
    const poses = createSkeleton({ side: 'right', lengthM }).restPoses;
    const tip = at(poses, 'middle-finger-tip');
    expect((-tip[2] + tip[7]) / lengthM).toBeGreaterThan(0.98);
    expect((-tip[2] + tip[7]) / lengthM).toBeLessThan(1.0);
  });
});

it('survey sizes (US Army, 1988): men 194 mm, women 181 mm, SD 10 mm; the default hand lies between', () => {
  expect(HAND_SURVEY.men).toMatchObject({ lengthM: 0.194, lengthSdM: 0.01 });
  expect(HAND_SURVEY.women).toMatchObject({ lengthM: 0.181, lengthSdM: 0.01 });
  const { lengthM, breadthM } = createSkeleton({ side: 'left' });
  expect(lengthM).toBeGreaterThan(HAND_SURVEY.women.lengthM);
  expect(lengthM).toBeLessThan(HAND_SURVEY.men.lengthM);
  expect(breadthM).toBeGreaterThan(HAND_SURVEY.women.breadthM);
  expect(breadthM).toBeLessThan(HAND_SURVEY.men.breadthM);
});

it('ranges (AAOS, as tabulated in goniometry handbooks, extension included; quoted from memory), degrees', () => {
  const published: Partial<Record<DofName, readonly [number, number]>> = {
    'thumb.cmcFlexion': [-20, 15],
    'thumb.cmcAbduction': [0, 70],
    'thumb.mcp': [0, 50],
    'thumb.ip': [-20, 80],
  };
  for (const finger of ['index', 'middle', 'ring', 'little'] as const) {
    published[`${finger}.mcp`] = [-45, 90];
    published[`${finger}.pip`] = [0, 100];
    published[`${finger}.dip`] = [0, 90];
    published[`${finger}.abduction`] = [-20, 20];
  }
  for (const [name, [min, max]] of Object.entries(published)) {
    const dof = DOF_NAMES.indexOf(name as DofName);
    expect((DOF_MIN[dof] * 180) / Math.PI, name).toBeCloseTo(min, 9);
    expect((DOF_MAX[dof] * 180) / Math.PI, name).toBeCloseTo(max, 9);
  }
});

it('every pose array has room for 26 joints of the OpenXR hand (XR_HAND_JOINT_COUNT_EXT)', () => {
  expect(createPoses()).toHaveLength(26 * 8);
  expect(JOINT_NAMES).toHaveLength(26);
});
