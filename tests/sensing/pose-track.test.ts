import { Quaternion, Vector3 } from 'three';
import { describe, expect, it } from 'vitest';
import { createPoseTrack } from '../../src/sensing/pose-track.js';
import { seeded } from '../hand/chain.js';
import { createNormal } from '../hand/mount-wearer.js';

const START = { position: new Vector3(0.3, 1, -0.4), turn: new Quaternion(0.1, 0.2, 0.3, 0.9).normalize() };
const VELOCITY = new Vector3(0.4, -0.2, 0.7);
const SPIN = new Vector3(1.5, -2, 0.5);

/** A steady screw, by three.js. */
function poseAt(s: number): number[] {
  const position = START.position.clone().addScaledVector(VELOCITY, s);
  const axis = SPIN.clone().normalize();
  const turn = new Quaternion().setFromAxisAngle(axis, SPIN.length() * s).multiply(START.turn);
  return [...position.toArray(), turn.x, turn.y, turn.z, turn.w];
}

const fed = (hz: number, seconds: number) => {
  const track = createPoseTrack();
  for (let n = 0; n <= seconds * hz; n++) {
    const pose = poseAt(n / hz);
    // A runtime may turn the sign of a quaternion at will.
    const sign = n % 3 === 0 ? -1 : 1;
    track.add((n / hz) * 1e6, [...pose.slice(0, 3), ...pose.slice(3).map((value) => value * sign)]);
  }
  return track;
};
const same = (a: ArrayLike<number>, b: readonly number[], digits = 9): void => {
  const sign = Math.sign(a[3] * b[3] + a[4] * b[4] + a[5] * b[5] + a[6] * b[6]);
  for (let k = 0; k < 7; k++) expect(a[k] * (k < 3 ? 1 : sign)).toBeCloseTo(b[k], digits);
};

describe('a track of poses', () => {
  it.each([30, 90, 500])('gives a steady motion at any time near now, at %i Hz', (hz) => {
    const track = fed(hz, 1);
    const pose = new Float64Array(7);
    const velocity = new Float64Array(6);
    for (const s of [0.93, 0.9712, 0.999, 1, 1.0004, 1.02, 1.05]) {
      expect(track.at(s * 1e6, pose, velocity)).toBe(true);
      same(pose, poseAt(s));
      for (const [k, value] of [...VELOCITY.toArray(), ...SPIN.toArray()].entries()) {
        expect(velocity[k]).toBeCloseTo(value, 6);
      }
    }
  });

  it('carries on for 60 ms and then stays', () => {
    const track = fed(90, 1);
    const pose = new Float64Array(7);
    track.at(1.5e6, pose);
    same(pose, poseAt(1.06));
  });

  it('knows nothing before its first pose, and no motion of one alone', () => {
    const track = createPoseTrack();
    const pose = new Float64Array(7);
    const velocity = new Float64Array(6).fill(1);
    expect(track.at(0, pose, velocity)).toBe(false);
    track.add(1000, poseAt(0));
    expect(track.at(900_000, pose, velocity)).toBe(true);
    same(pose, poseAt(0));
    expect([...velocity]).toEqual([0, 0, 0, 0, 0, 0]);
  });

  it('does not trust a jump of a metre, or a turn that no hand makes, until three poses agree', () => {
    for (const jump of [
      (p: number[]) => [p[0] + 1, ...p.slice(1)],
      (p: number[]) => [...p.slice(0, 3), 1, 0, 0, 0],
    ]) {
      const track = fed(90, 1);
      expect(track.trusted).toBe(true);
      expect(track.add(1.011e6, jump(poseAt(1.011)))).toBeGreaterThan(0.9);
      expect(track.trusted).toBe(false);
      expect(track.add(1.022e6, jump(poseAt(1.022)))).toBe(0);
      expect(track.trusted).toBe(false);
      expect(track.add(1.033e6, jump(poseAt(1.033)))).toBe(0);
      expect(track.trusted).toBe(true);
    }
  });

  it('leaves out what is older than the newest', () => {
    const track = fed(90, 1);
    expect(track.add(0.5e6, poseAt(0))).toBeNaN();
    expect(track.newestUs).toBe(1e6);
  });

  it('says how noisy positions are', () => {
    const normal = createNormal(seeded(2));
    const track = createPoseTrack();
    for (let n = 0; n < 2000; n++) {
      const pose = poseAt(n / 90);
      track.add(
        (n / 90) * 1e6,
        pose.map((value, k) => (k < 3 ? value + 0.001 * normal() : value)),
      );
    }
    // Three coordinates of 1 mm each.
    expect(track.jitterM).toBeGreaterThan(0.0012);
    expect(track.jitterM).toBeLessThan(0.0024);
    expect(fed(90, 1).jitterM).toBeLessThan(1e-9);
  });
});
