import { describe, expect, it } from 'vitest';
import { createClosingPath, followPose } from '../../src/contact/closing-path.js';
import { createFingerContact } from '../../src/contact/finger-contact.js';
import { createMemory } from '../../src/contact/memory.js';
import { placeIn } from '../../src/contact/placement.js';
import { compileShape, isShapeFault } from '../../src/contact/shapes.js';
import { meetFinger } from '../../src/contact/solver.js';
import {
  abductionLimit,
  createClosingProfile,
  createPoses,
  createSkeleton,
  curlOf,
  DOF_COUNT,
  DOF_MAX,
  DOF_MIN,
  forwardKinematics,
  HAND_SIDES,
  setCurl,
} from '../../src/hand/index.js';
import type { ConvexShape } from '../../src/protocol/messages.js';
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

function solve(made: ReturnType<typeof randomCase>, shape: ConvexShape = made.shape) {
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
  meetFinger(path, finger, poses, compiled, placement, createMemory(), contact);
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
  });
});

/** A hand with every finger at `curl`, wrist at the origin. */
function handAt(curl: number, side: 'left' | 'right' = 'right', lengthM = 0.19) {
  const skeleton = createSkeleton({ side, lengthM });
  const dofs = new Float64Array(DOF_COUNT);
  for (let finger = 0; finger < 5; finger++) setCurl(profile, finger, curl, dofs);
  return { skeleton, dofs, root: ORIGIN };
}

describe('first contact by formula', () => {
  it('of the middle finger with a plane under the palm', () => {
    // The middle finger closes in the plane x = const, so its joints' heights are sums of sines; a tapered capsule is
    // lowest at one of its ends.
    const hand = handAt(0.2);
    const { skeleton } = hand;
    const [l1, l2, l3] = skeleton.chainLengths.subarray(6, 9);
    const radii = skeleton.radii.subarray(12, 16);
    const knuckle = skeleton.restPoses[12 * 8 + 1];
    const dofs = new Float64Array(DOF_COUNT);
    const lowest = (curl: number) => {
      setCurl(profile, 2, curl, dofs);
      const a = dofs[8];
      const b = a + dofs[10];
      const c = b + dofs[11];
      const y1 = knuckle - l1 * Math.sin(a);
      const y2 = y1 - l2 * Math.sin(b);
      const y3 = y2 - l3 * Math.sin(c);
      return Math.min(knuckle - radii[0], y1 - radii[1], y2 - radii[2], y3 - radii[3]);
    };
    for (const height of [-0.02, -0.03, -0.045, -0.06, -0.07]) {
      let open = 0;
      let closed = 0.5;
      for (let i = 0; i < 60; i++) {
        const middle = (open + closed) / 2;
        if (lowest(middle) > height) open = middle;
        else closed = middle;
      }
      const contact = solve({
        ...hand,
        finger: 2,
        shape: { kind: 'halfSpace' },
        inWrist: [0, height, 0, 0, 0, 0, 1],
      });
      expect(contact.stop).toBeCloseTo(open, 4);
      expect(contact.point[1]).toBeCloseTo(height, 9);
      expect([...contact.normal]).toEqual([0, 1, 0]);
      // Rate of descent by differences of the same formula.
      const rate = (lowest(open - 1e-4) - lowest(open + 1e-4)) / 2e-4;
      expect(contact.depthPerCurl).toBeCloseTo(rate, 3);
      expect(contact.depth).toBeCloseTo(height - lowest(0.2), 6);
    }
  });

  it('of a fingertip with a ball in its way, and of a ball behind it', () => {
    const hand = handAt(0);
    const dofs = hand.dofs.slice();
    setCurl(profile, 1, 0.6, dofs);
    const poses = createPoses();
    forwardKinematics(hand.skeleton, dofs, poses);
    // A small ball just ahead of the index tip at curl 0.6: out of reach of the pad until about there.
    const tip = 10 * 8;
    const [qx, qy, qz, qw] = poses.subarray(tip + 3, tip + 7);
    const down = [-(2 * (qx * qy - qz * qw)), -(1 - 2 * (qx * qx + qz * qz)), -(2 * (qy * qz + qx * qw))];
    const gap = poses[tip + 7] + 0.004;
    const centre = [0, 1, 2].map((i) => poses[tip + i] + gap * down[i]);
    const shape: ConvexShape = { kind: 'sphere', radius: 0.004 };
    const contact = solve({ ...hand, finger: 1, shape, inWrist: [...centre, 0, 0, 0, 1] });
    expect(contact.joint).toBeGreaterThanOrEqual(9);
    expect(Math.abs(contact.stop - 0.6)).toBeLessThan(0.01);
    const behind = solve({ ...hand, finger: 1, shape, inWrist: [0, 0.08, -0.15, 0, 0, 0, 1] });
    expect(behind.stop).toBe(Infinity);
    expect(behind.joint).toBe(-1);
    expect(behind.depth).toBeLessThan(-0.03);
  });
});

describe('first contact', () => {
  it('comes no later for a larger ball, as long as the open finger is clear of it', () => {
    const random = seeded(77);
    let compared = 0;
    for (let number = 0; number < 600; number++) {
      const made = randomCase(random, number);
      const small = between(random, 0.002, 0.03);
      const large = small + between(random, 0, 0.02);
      const distance = inFrame(
        distanceOf({ kind: 'sphere', radius: large }),
        composed(made.root, made.inWrist),
      );
      if (restOf(createScene({ ...made, profile, distance })).some((rest) => rest > 0)) continue;
      const first = solve(made, { kind: 'sphere', radius: large }).stop;
      const second = solve(made, { kind: 'sphere', radius: small }).stop;
      expect(first).toBeLessThanOrEqual(second + 1e-3);
      if (second < Infinity) compared++;
    }
    expect(compared).toBeGreaterThan(50);
  });

  it('is the same for a hand and its mirror image', () => {
    const shape: ConvexShape = { kind: 'box', size: [0.05, 0.03, 0.09] };
    for (let finger = 0; finger < 5; finger++) {
      for (const curl of [0.1, 0.5]) {
        const right = solve({
          ...handAt(curl, 'right'),
          finger,
          shape,
          inWrist: [-0.01, -0.06, -0.12, 0.1, 0.2, 0.3, Math.sqrt(0.86)],
        });
        const left = solve({
          ...handAt(curl, 'left'),
          finger,
          shape,
          inWrist: [0.01, -0.06, -0.12, 0.1, -0.2, -0.3, Math.sqrt(0.86)],
        });
        expect(left.stop).toBeCloseTo(right.stop, 9);
        expect(left.joint).toBe(right.joint);
        expect(left.depth).toBeCloseTo(right.depth, 9);
        if (right.joint >= 0) expect(left.point[0]).toBeCloseTo(-right.point[0], 6);
      }
    }
  });

  it('leaves a finger free of what is far away or moved away', () => {
    const shape: ConvexShape = { kind: 'sphere', radius: 0.035 };
    const hand = handAt(0.4);
    const near = solve({ ...hand, finger: 2, shape, inWrist: [0, -0.06, -0.12, 0, 0, 0, 1] });
    expect(near.stop).toBeLessThan(1);
    for (const away of [0.1, 1, 100, 1e4]) {
      const far = solve({ ...hand, finger: 2, shape, inWrist: [0, -0.06 - away, -0.12, 0, 0, 0, 1] });
      expect(far.stop).toBe(Infinity);
      expect(far.depth).toBeLessThan(0);
    }
  });

  it('is at the pose of the finger, for a finger that is off the closing profile and at the surface', () => {
    // Straight but bent at the knuckle: as far from the profile as a hand gets.
    const hand = handAt(0);
    hand.dofs[8] = 1;
    const poses = createPoses();
    forwardKinematics(hand.skeleton, hand.dofs, poses);
    const tip = 15 * 8;
    // A plane through the lowest point of the tip.
    const inWrist = [0, poses[tip + 1] - poses[tip + 7], 0, 0, 0, 0, 1];
    const contact = solve({ ...hand, finger: 2, shape: { kind: 'halfSpace' }, inWrist });
    expect(contact.depth).toBeCloseTo(0, 9);
    expect(contact.stop).toBeCloseTo(curlOf(profile, 2, hand.dofs), 3);
    expect(contact.joint).toBe(15);
  });

  it('does not count a bone that rests on the shape with the hand open until it goes deeper', () => {
    const hand = handAt(0.1);
    const { restPoses, radii } = hand.skeleton;
    // A plane 2 mm inside the underside of the index knuckle, falling away from the hand.
    const inWrist = [
      restPoses[7 * 8],
      restPoses[7 * 8 + 1] - radii[7] + 0.002,
      restPoses[7 * 8 + 2],
      Math.sin(-0.25),
      0,
      0,
      Math.cos(-0.25),
    ];
    const contact = solve({ ...hand, finger: 1, shape: { kind: 'halfSpace' }, inWrist });
    expect(contact.stop).toBeGreaterThan(0.15);
    expect(contact.stop).toBeLessThan(0.6);
    expect(contact.depth).toBeLessThan(0);
  });

  it('frees the finger if the pose is not a number', () => {
    const hand = handAt(0.3);
    hand.dofs.fill(Number.NaN);
    const shape: ConvexShape = { kind: 'box', size: [0.1, 0.1, 0.1] };
    const contact = solve({ ...hand, finger: 1, shape, inWrist: [0, -0.06, -0.12, 0, 0, 0, 1] });
    expect(contact.stop).toBe(Infinity);
    expect(contact.depth).toBe(-Infinity);
  });
});

describe('first contact from frame to frame', () => {
  it('is what a search without memory finds, while hand and shape move, jump and rest', () => {
    const random = seeded(31);
    let compared = 0;
    for (let number = 0; number < 60; number++) {
      const made = randomCase(random, number);
      const { skeleton, finger, dofs, root, inWrist } = made;
      const shape = compileShape(made.shape);
      if (isShapeFault(shape)) throw new Error(shape.message);
      const path = createClosingPath(skeleton, profile);
      const placement = new Float64Array(12);
      const poses = createPoses();
      const memory = createMemory();
      const warm = createFingerContact();
      const cold = createFingerContact();
      const pace = number % 3 === 0 ? 1e-5 : number % 3 === 1 ? 1e-3 : 1e-2;
      for (let frame = 0; frame < 100; frame++) {
        const speed = frame % 40 === 39 ? 0.3 : frame % 10 < 3 ? 0 : pace;
        for (let i = 0; i < DOF_COUNT; i++) {
          const moved = dofs[i] + between(random, -10, 10) * speed;
          dofs[i] = Math.min(Math.max(moved, DOF_MIN[i]), DOF_MAX[i]);
        }
        for (let i = 0; i < 3; i++) inWrist[i] += between(random, -0.1, 0.1) * speed;
        for (let i = 3; i < 7; i++) inWrist[i] += between(random, -1, 1) * speed;
        const length = Math.hypot(...inWrist.slice(3));
        for (let i = 3; i < 7; i++) inWrist[i] /= length;
        forwardKinematics(skeleton, dofs, poses, root);
        followPose(path, dofs, poses);
        placeIn(placement, root, 0, inWrist);
        meetFinger(path, finger, poses, shape, placement, memory, warm);
        meetFinger(path, finger, poses, shape, placement, createMemory(), cold);
        expect(warm.depth).toBeCloseTo(cold.depth, 4);
        if (warm.stop === cold.stop) continue;
        compared++;
        if (Math.abs(warm.stop - cold.stop) <= 1e-3) continue;
        // They part only over a graze.
        const distance = inFrame(distanceOf(made.shape), composed(root, inWrist));
        const scene = createScene({ ...made, profile, distance });
        const rest = restOf(scene);
        const first = Math.min(warm.stop, cold.stop);
        const last = Math.min(Math.max(warm.stop, cold.stop), 1);
        for (let curl = first; curl <= last; curl += 0.001) {
          expect(gapAt(scene, curl, rest), `case ${number}, frame ${frame}`).toBeGreaterThan(-5e-4);
        }
      }
    }
    expect(compared).toBeGreaterThan(500);
  });
});
