import { describe, expect, it } from 'vitest';
import { createClosingPath, followPose } from '../../src/contact/closingPath.js';
import { compileShape, isShapeFault } from '../../src/contact/shapes.js';
import { createFingerContact, createHints, meetFinger, placeIn } from '../../src/contact/solver.js';
import {
  abductionLimit,
  createClosingProfile,
  createPoses,
  createSkeleton,
  DOF_COUNT,
  DOF_MAX,
  DOF_MIN,
  forwardKinematics,
  HAND_SIDES,
  setCurl,
} from '../../src/hand/index.js';
import type { Shape } from '../../src/stream/protocol.js';
import { createScene, distanceOf, firstContactByTrying, gapAt, inFrame, restOf } from './oracle.js';
import { between, KINDS, randomShape, randomTurn, seeded } from './random.js';

const profile = createClosingProfile();
const ORIGIN = [0, 0, 0, 0, 0, 0, 1];

/** A hand, one of its fingers, and a shape near it. Every other hand is off the closing profile. */
function randomCase(random: () => number, number: number) {
  const side = HAND_SIDES[number % 2];
  const skeleton = createSkeleton({ side, lengthM: between(random, 0.15, 0.22) });
  const finger = Math.floor(random() * 5);
  const dofs = new Float64Array(DOF_COUNT);
  for (let f = 0; f < 5; f++) {
    setCurl(profile, f, random(), dofs);
    if (f > 0) dofs[f * 4 + 1] = between(random, -1, 1) * abductionLimit(dofs[f * 4]);
  }
  dofs[20] = random() * DOF_MAX[20];
  dofs[21] = random() * DOF_MAX[21];
  if (number % 4 >= 2) {
    for (let i = 0; i < 4; i++) {
      const dof = finger * 4 + i;
      if (i !== 1 || finger === 0) dofs[dof] = between(random, DOF_MIN[dof], DOF_MAX[dof]);
    }
  }
  const root = [between(random, -1, 1), between(random, 0, 2), between(random, -1, 1), ...randomTurn(random)];
  const kind = KINDS[Math.floor(random() * KINDS.length)];
  const shape = randomShape(random, kind);
  const inWrist = [
    between(random, -0.06, 0.06),
    between(random, -0.12, -0.02),
    between(random, -0.18, -0.05),
    ...randomTurn(random),
  ];
  return { skeleton, finger, dofs, root, shape, inWrist };
}

function solve(made: ReturnType<typeof randomCase>, shape: Shape = made.shape) {
  const { skeleton, finger, dofs, root, inWrist } = made;
  const compiled = compileShape(shape);
  if (isShapeFault(compiled)) throw new Error(compiled.message);
  const poses = createPoses();
  forwardKinematics(skeleton, dofs, poses, root);
  const path = createClosingPath(skeleton, profile);
  followPose(path, dofs, poses);
  const placement = new Float64Array(12);
  placeIn(placement, root, 0, inWrist);
  const contact = createFingerContact();
  meetFinger(path, finger, poses, compiled, placement, createHints(), contact);
  return contact;
}

/** Pose of the shape in the space of the poses: root times inWrist. */
function composed(root: readonly number[], inWrist: readonly number[]): number[] {
  const m = new Float64Array(12);
  placeIn(m, root, 0, ORIGIN);
  const position = [0, 1, 2].map(
    (i) => m[i * 3] * inWrist[0] + m[i * 3 + 1] * inWrist[1] + m[i * 3 + 2] * inWrist[2] + root[i],
  );
  const [, , , px, py, pz, pw] = root;
  const [, , , qx, qy, qz, qw] = inWrist;
  return [
    ...position,
    pw * qx + px * qw + py * qz - pz * qy,
    pw * qy + py * qw + pz * qx - px * qz,
    pw * qz + pz * qw + px * qy - py * qx,
    pw * qw - px * qx - py * qy - pz * qz,
  ];
}

describe('first contact against trying every curl', () => {
  it('agrees for 10,000 random hands and shapes: within 0.005 curl, or else within 1 mm', () => {
    const random = seeded(20240607);
    const counts = { touching: 0, free: 0, resting: 0, byDepth: 0 };
    for (let number = 0; number < 10_000; number++) {
      const made = randomCase(random, number);
      const distance = inFrame(distanceOf(made.shape), composed(made.root, made.inWrist));
      const scene = createScene({ ...made, profile, distance });
      const rest = restOf(scene);
      const wanted = firstContactByTrying(scene, rest);
      const { stop } = solve(made);
      if (rest.some((depth) => depth > 0)) counts.resting++;
      if (wanted === Infinity) counts.free++;
      else counts.touching++;
      if (wanted === stop || Math.abs(stop - wanted) <= 0.005) continue;
      counts.byDepth++;
      const where = `case ${number}: ${made.shape.kind}, finger ${made.finger}, stop ${stop}, wanted ${wanted}`;
      if (stop < wanted) {
        // Early: the finger must be all but touching there.
        expect(gapAt(scene, stop, rest), where).toBeLessThan(1e-3);
      } else {
        // Late: up to there, the finger must not be deep.
        for (let curl = wanted; curl <= Math.min(stop, 1); curl += 0.001) {
          expect(gapAt(scene, curl, rest), where).toBeGreaterThan(-1e-3);
        }
      }
    }
    // The cases are of every sort, and the second rule is the exception.
    expect(counts.touching).toBeGreaterThan(3000);
    expect(counts.free).toBeGreaterThan(1000);
    expect(counts.resting).toBeGreaterThan(500);
    expect(counts.byDepth).toBeLessThan(50);
    if (process.env.TAUTLINE_TEST_FIGURES) console.log(counts);
  }, 60_000);
});
