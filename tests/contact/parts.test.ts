import { describe, expect, it } from 'vitest';
import { createClosingPath, followPose } from '../../src/contact/closing-path.js';
import { createFingerContact } from '../../src/contact/finger-contact.js';
import { compileParts, meetParts, placeParts, sameParts } from '../../src/contact/parts.js';
import { placeIn } from '../../src/contact/placement.js';
import { isShapeFault } from '../../src/contact/shapes.js';
import { createTouchContacts, MAX_TOUCHED_PARTS, Touches, touchFault } from '../../src/contact/touches.js';
import {
  createClosingProfile,
  createPoses,
  createSkeleton,
  DOF_COUNT,
  forwardKinematics,
  setCurl,
} from '../../src/hand/index.js';
import { CHAIN_START } from '../../src/hand/skeleton.js';
import {
  type AppMessageOf,
  MAX_COMPOUND_POINTS,
  MAX_HULL_POINTS,
  MAX_PARTS,
  type Shape,
} from '../../src/protocol/messages.js';
import { boneGap, createScene, distanceOf, firstContactByTrying, gapAt, inFrame, restOf } from './oracle.js';
import { between, KINDS, randomShape, randomTurn, seeded } from './random.js';

type Compound = Extract<Shape, { kind: 'compound' }>;
type Part = Compound['parts'][number];

const profile = createClosingProfile();
const skeleton = createSkeleton({ side: 'right', lengthM: 0.19 });
const ORIGIN = [0, 0, 0, 0, 0, 0, 1];

function compiled(shape: Shape) {
  const parts = compileParts(shape);
  if (isShapeFault(parts)) throw new Error(parts.message);
  return parts;
}

/** Small convex things around a point, as the parts of one. */
function randomCompound(random: () => number): Compound {
  const bounded = KINDS.filter((kind) => kind !== 'halfSpace');
  const parts = Array.from({ length: 1 + Math.floor(random() * 8) }, (): Part => {
    const kind = bounded[Math.floor(random() * bounded.length)];
    return {
      shape: randomShape(random, kind),
      position: [between(random, -0.05, 0.05), between(random, -0.05, 0.05), between(random, -0.05, 0.05)],
      ...(random() < 0.8 ? { orientation: randomTurn(random) } : {}),
    };
  });
  return { kind: 'compound', parts };
}

function meet(shape: Shape, pose: readonly number[], finger: number, curls: readonly number[]) {
  const dofs = new Float64Array(DOF_COUNT);
  for (let f = 0; f < 5; f++) setCurl(profile, f, curls[f], dofs);
  const poses = createPoses();
  forwardKinematics(skeleton, dofs, poses);
  const path = createClosingPath(skeleton, profile);
  followPose(path, dofs, poses);
  const placement = new Float64Array(12);
  placeIn(placement, ORIGIN, 0, pose);
  const parts = compiled(shape);
  placeParts(parts, placement);
  const contact = createFingerContact();
  meetParts(path, finger, poses, parts, contact);
  return { contact, dofs, poses };
}

describe('a compound', () => {
  it('is met where the union of its parts is met by trying every curl', () => {
    const random = seeded(4);
    const counts = { touching: 0, free: 0, resting: 0, grazing: 0 };
    for (let number = 0; number < 2000; number++) {
      const finger = number % 5;
      const curls = Array.from({ length: 5 }, () => random());
      const pose = [
        between(random, -0.06, 0.06),
        between(random, -0.14, -0.05),
        between(random, -0.18, -0.05),
        ...randomTurn(random),
      ];
      const compound = randomCompound(random);
      const { contact, dofs, poses } = meet(compound, pose, finger, curls);
      // Along a bone the distance to one part has one valley, so each part is tried by itself.
      const scenes = compound.parts.map((part) =>
        createScene({
          skeleton,
          profile,
          finger,
          dofs,
          root: ORIGIN,
          distance: inFrame(distanceOf({ kind: 'compound', parts: [part] }), pose),
        }),
      );
      const rests = scenes.map(restOf);
      if (rests.flat().some((depth) => depth > 0)) counts.resting++;
      const start = CHAIN_START[finger];
      const deep = -Math.min(
        ...scenes.flatMap(({ distance }, part) =>
          [0, 1, 2].map((bone) => boneGap(distance, poses, start + bone) + rests[part][bone]),
        ),
      );
      if (Math.abs(deep) < 0.02) expect(Math.abs(contact.depth - deep)).toBeLessThan(2e-5);
      const wanted = Math.min(...scenes.map((scene, part) => firstContactByTrying(scene, rests[part])));
      const distance = inFrame(distanceOf(compound), pose);
      const { stop } = contact;
      if (wanted === Infinity) counts.free++;
      else counts.touching++;
      if (wanted === stop || Math.abs(stop - wanted) <= 0.005) {
        if (stop > 0 && stop < 1) {
          const off = distance(contact.point[0], contact.point[1], contact.point[2]);
          expect(off).toBeLessThan(1e-6);
        }
        continue;
      }
      counts.grazing++;
      for (let curl = Math.min(wanted, stop); curl <= Math.min(Math.max(stop, wanted), 1); curl += 0.001) {
        const gap = Math.min(...scenes.map((scene, part) => gapAt(scene, curl, rests[part])));
        expect(gap, `case ${number}`).toBeGreaterThan(-1e-3);
      }
    }
    expect(counts.resting).toBeGreaterThan(100);
    expect(counts.touching).toBeGreaterThan(500);
    expect(counts.free).toBeGreaterThan(100);
    expect(counts.grazing).toBeLessThan(20);
  });

  it('of one part is that part, wherever the part lies in it', () => {
    const turn = randomTurn(seeded(3));
    const capsule = { kind: 'capsule' as const, radius: 0.02, length: 0.08 };
    const alone = meet(capsule, [0, -0.06, -0.12, ...turn], 2, [0, 0, 0, 0, 0]);
    const parts = [
      { shape: capsule, position: [0, -0.06, -0.12] as [number, number, number], orientation: turn },
    ];
    const inside = meet({ kind: 'compound', parts }, ORIGIN, 2, [0, 0, 0, 0, 0]);
    expect(alone.contact.stop).toBeLessThan(1);
    expect(inside.contact.stop).toBeCloseTo(alone.contact.stop, 9);
    for (let i = 0; i < 3; i++) {
      expect(inside.contact.point[i]).toBeCloseTo(alone.contact.point[i], 9);
      expect(inside.contact.normal[i]).toBeCloseTo(alone.contact.normal[i], 9);
    }
  });
});

const ball = { kind: 'sphere' as const, radius: 0.01 };
const many = (count: number): Shape => ({
  kind: 'compound',
  parts: Array.from({ length: count }, () => ({ shape: ball })),
});
const touch = (shape: Shape, more: object = {}): AppMessageOf<'touch'> => ({
  type: 'touch',
  hand: 'right',
  shape,
  ...more,
});
const cloud = (count: number) => {
  const random = seeded(count);
  return Array.from({ length: count }, (): [number, number, number] => {
    const [x, y, z] = [0, 1, 2].map(() => between(random, -0.05, 0.05));
    return [x, y, z];
  });
};

describe('what is wrong with a touch', () => {
  const flat: [number, number, number][] = [
    [0, 0, 0],
    [1, 0, 0],
    [0, 1, 0],
    [1, 1, 0],
  ];

  it.each<[string, AppMessageOf<'touch'>, string]>([
    ['a flat hull', touch({ kind: 'hull', points: flat }), '/shape/points'],
    [
      'a flat hull among parts',
      touch({ kind: 'compound', parts: [{ shape: ball }, { shape: { kind: 'hull', points: flat } }] }),
      '/shape/parts/1/shape/points',
    ],
    [
      'a turn without length among parts',
      touch({ kind: 'compound', parts: [{ shape: ball, orientation: [0, 0, 0, 0] }] }),
      '/shape/parts/0/orientation',
    ],
    ['a turn without length', touch(ball, { orientation: [0, 0, 0, 0] }), '/orientation'],
    ['a turn of length 1.41', touch(ball, { orientation: [0, 1, 0, 1] }), '/orientation'],
    ['a turn that is not a number', touch(ball, { orientation: [0, 0, 0, Number.NaN] }), '/orientation'],
    [
      'too many points',
      touch({
        kind: 'compound',
        parts: Array.from({ length: 3 }, () => ({
          shape: { kind: 'hull' as const, points: cloud(MAX_HULL_POINTS) },
        })),
      }),
      '/shape/parts/2/shape/points',
    ],
  ])('%s is named with its place', (_, request, path) => {
    expect(touchFault(request)).toMatchObject({ code: 'badMessage', path });
    const touches = new Touches(skeleton, profile);
    expect(touches.set('a', undefined, request, 0)).toMatchObject({ path });
    expect(touches.live).toHaveLength(0);
  });

  it('is nothing for turns that single precision has rounded, nor for the largest compound', () => {
    const turn = randomTurn(seeded(1)).map(Math.fround) as [number, number, number, number];
    expect(touchFault(touch(ball, { orientation: turn }))).toBeUndefined();
    expect(touchFault(touch(many(MAX_PARTS)))).toBeUndefined();
    const hulls = MAX_COMPOUND_POINTS / MAX_HULL_POINTS;
    const shape: Shape = {
      kind: 'compound',
      parts: Array.from({ length: hulls }, () => ({
        shape: { kind: 'hull', points: cloud(MAX_HULL_POINTS) },
      })),
    };
    expect(touchFault(touch(shape))).toBeUndefined();
  });

  it('is that all of a hand have too many parts, which ends that touch and no other', () => {
    const touches = new Touches(skeleton, profile);
    const full = Math.floor(MAX_TOUCHED_PARTS / MAX_PARTS);
    for (let i = 0; i < full; i++)
      expect(touches.set('a', `${i}`, touch(many(MAX_PARTS)), 0)).toBeUndefined();
    expect(touches.set('a', 'one more', touch(many(1)), 0)).toMatchObject({ code: 'tooMany' });
    expect(touches.live).toHaveLength(full);
    // A renewal counts what it will have.
    expect(touches.set('a', '0', touch(many(MAX_PARTS - 1)), 0)).toBeUndefined();
    expect(touches.set('a', 'one more', touch(ball), 0)).toBeUndefined();
  });
});

describe('a renewed compound', () => {
  it('is the same only if every number is', () => {
    const random = seeded(8);
    for (let i = 0; i < 50; i++) {
      const shape = randomCompound(random);
      const copy = JSON.parse(JSON.stringify(shape)) as Compound;
      expect(sameParts(shape, copy)).toBe(true);
      const part = copy.parts[copy.parts.length - 1];
      part.position = [0.01, 0, 0];
      expect(sameParts(shape, copy)).toBe(false);
      expect(sameParts(shape, { kind: 'compound', parts: copy.parts.slice(1) })).toBe(false);
    }
  });

  it('is met anew when a part has moved', () => {
    const touches = new Touches(skeleton, profile);
    const contacts = createTouchContacts();
    const dofs = new Float64Array(DOF_COUNT);
    const poses = createPoses();
    for (let finger = 0; finger < 5; finger++) setCurl(profile, finger, 0, dofs);
    forwardKinematics(skeleton, dofs, poses);
    const stopAt = (y: number) => {
      const parts = [
        {
          shape: { kind: 'sphere' as const, radius: 0.035 },
          position: [0, y, -0.13] as [number, number, number],
        },
      ];
      touches.set('a', undefined, touch({ kind: 'compound', parts }), 0);
      touches.solve(0, dofs, poses, 'wrist', contacts);
      return contacts.stop[2];
    };
    const near = stopAt(-0.06);
    expect(stopAt(-0.08)).toBeGreaterThan(near + 0.05);
    expect(stopAt(-0.06)).toBeCloseTo(near, 3);
  });
});
