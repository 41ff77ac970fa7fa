import { describe, expect, it } from 'vitest';
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
import { boneGap, distanceOf, inFrame } from './oracle.js';
import { between, randomTurn, seeded } from './random.js';

const skeleton = createSkeleton({ side: 'right', lengthM: 0.19 });
const profile = createClosingProfile();
const natural = createNaturalMotion(skeleton, profile);
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
});
