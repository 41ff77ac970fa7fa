import { afterEach, beforeEach, expect } from 'vitest';
import { compose, invert, type RigidPose } from '../../src/client/rigid.js';
import type { HandSide } from '../../src/hand/joints.js';
import { INPUT_POSE_STRIDE, INPUT_POSES, updateInputPoses } from '../../src/sensing/input-poses.js';
import { type Answer, Driver, type DriverOptions, stopAllDrivers } from './driver.js';
import { Peer } from './peer.js';

export const SIMPLE = '/interaction_profiles/khr/simple_controller';
export const FULL = '/interaction_profiles/test/full_controller';
export const PAD = '/interaction_profiles/test/pad_controller';
export const HANDS = '/interaction_profiles/ext/hand_interaction_ext';
export const SIDES: HandSide[] = ['left', 'right'];

/** Location flags of OpenXR: orientation and position, valid and tracked. */
export const VALID = 1 | 2;
export const TRACKED = 4 | 8;

export const input = (side: HandSide, name: string): string => `/user/hand/${side}/input/${name}`;

/** A service for each test, and the end of every application it started. */
export function useRig(): { readonly peer: Peer; start(options?: DriverOptions): Driver } {
  let peer: Peer;
  beforeEach(async () => {
    peer = await Peer.start();
  });
  afterEach(async () => {
    await stopAllDrivers();
    await peer.end();
  });
  return {
    get peer() {
      return peer;
    },
    start: (options = {}) => Driver.start({ runtimeFolder: peer.runtimeFolder, ...options }),
  };
}

/** Ends an application that must have done nothing wrong, and whose layer must not have either. */
export async function endWell(app: Driver): Promise<void> {
  expect(await app.complaints()).toBe('none');
  await app.do('destroy');
  expect(await app.quit()).toEqual({ code: 0, signal: null });
  expect(app.validation).toBe('');
  // The validation layer greets.
  expect(app.stderr.replace(/^Core Validation output type.*\n\n?/, '')).toBe('');
}

/** An action set `game` with the grip of both hands, attached, as any application has it. */
export async function attachGrip(app: Driver, profile = SIMPLE): Promise<void> {
  await app.do(
    'set game 0',
    'action game grip pose left right',
    `suggest ${profile} ${SIDES.map((side) => `grip ${input(side, 'grip/pose')}`).join(' ')}`,
    'attach game',
  );
}

/** Where something holds still: x, y, z and a quaternion of length 1. */
export function at(x: number, y: number, z: number, qx = 0, qy = 0, qz = 0, qw = 1): RigidPose {
  const length = Math.hypot(qx, qy, qz, qw);
  return [x, y, z, qx / length, qy / length, qz / length, qw / length];
}

/** The grip pose of a hand, by its wrist: as the service computes it. */
export function gripInWrist(side: HandSide, poses: Float64Array): RigidPose {
  const out = new Float64Array(INPUT_POSES.length * INPUT_POSE_STRIDE);
  updateInputPoses(side, poses, out);
  return [...out.subarray(0, INPUT_POSE_STRIDE)] as RigidPose;
}

export const jointOf = (poses: Float64Array, joint: number): RigidPose =>
  [...poses.subarray(joint * 8, joint * 8 + 7)] as RigidPose;

/** Rows of a `hands` answer: flags, x, y, z, qx, qy, qz, qw, radius. */
export const rows = (answer: Answer): number[][] => answer.joints as number[][];
export const speeds = (answer: Answer): number[][] => answer.velocities as number[][];

/** Whether the joints that an application got are those of a hand on a wrist, to 1e-5 m and 1e-5 of a quaternion. */
export function expectJoints(answer: Answer, wrist: RigidPose, poses: Float64Array, within = 1e-5): void {
  expect(answer.active).toBe(1);
  const back = invert(jointOf(poses, 1));
  for (const [joint, row] of rows(answer).entries()) {
    const expected = compose(wrist, compose(back, jointOf(poses, joint)));
    for (let i = 0; i < 3; i++) expect(Math.abs(row[1 + i] - expected[i])).toBeLessThan(within);
    // A quaternion and its negative are one rotation.
    const dot = [0, 1, 2, 3].reduce((sum, i) => sum + row[4 + i] * expected[3 + i], 0);
    expect(1 - Math.abs(dot)).toBeLessThan(1e-5);
    expect(row[8]).toBeCloseTo(poses[joint * 8 + 7], 6);
  }
}
