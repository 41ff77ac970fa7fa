import { Euler, Matrix4, Quaternion, Vector3 } from 'three';
import { CHAIN_START, type DofArray, FINGERS, type Skeleton } from '../../src/hand/index.js';
import type { MountSample } from '../../src/hand/mount-model.js';
import { threeChain } from './chain.js';

/** What may be off in a hand, and in where its fingers come down. */
const OFF = 13 * FINGERS.length;

/**
 * The same sum of squares by another way: three.js scene graphs and matrices, misses in the world, the turn as Euler
 * angles, what is off in parts of its spread. Parameters: place (3), Euler XYZ (3), point (3), thirteen for each finger.
 */
export function missesByThree(
  skeleton: Skeleton,
  samples: readonly MountSample[],
  weights: ArrayLike<number>,
  noiseM: number,
  pulls: ArrayLike<number>,
) {
  const chain = threeChain(skeleton);
  const count = 3 * samples.length + OFF;
  const mount = new Matrix4();
  const tracker = new Matrix4();
  const one = new Vector3(1, 1, 1);

  function residuals(parameters: readonly number[]): Float64Array {
    const out = new Float64Array(count);
    const pose = placeThree(parameters);
    mount.compose(
      new Vector3(pose[0], pose[1], pose[2]),
      new Quaternion(pose[3], pose[4], pose[5], pose[6]),
      one,
    );
    for (const [n, { finger, tracker: at, dofs }] of samples.entries()) {
      const own = parameters
        .slice(9 + finger * 13, 22 + finger * 13)
        .map((part, i) => part / Math.sqrt(pulls[9 + i]));
      const bent: DofArray = dofs.slice();
      for (let i = 0; i < 4; i++) bent[4 * finger + i] += own[i];
      const start = CHAIN_START[finger];
      for (let i = 0; i < 3; i++) {
        chain.joints[start + 1 + i].position.z =
          skeleton.restOffsets[3 * (start + 1 + i) + 2] * (1 + own[4 + i]);
      }
      chain.pose(bent);
      const inside = 0.75 * Math.cos(Math.PI / 4) * skeleton.radii[start + 3];
      const touch = new Vector3(0, -inside, -inside);
      touch.addScaledVector(new Vector3(1, 0, 0), own[7]);
      touch.addScaledVector(new Vector3(0, -1, -1).normalize(), own[8]);
      touch.addScaledVector(new Vector3(0, 1, -1).normalize(), own[9]);
      chain.joints[start + 3].localToWorld(touch);
      tracker.compose(new Vector3(at[0], at[1], at[2]), new Quaternion(at[3], at[4], at[5], at[6]), one);
      touch.applyMatrix4(mount).applyMatrix4(tracker);
      const scale = Math.sqrt(weights[n]) / noiseM;
      for (let k = 0; k < 3; k++)
        out[3 * n + k] = scale * (parameters[6 + k] + own[10 + k] - touch.getComponent(k));
    }
    for (let i = 0; i < OFF; i++) out[3 * samples.length + i] = parameters[9 + i];
    return out;
  }

  let last: readonly number[] = [];
  let now: Float64Array = new Float64Array(0);
  return {
    rows: new Array<number>(count).fill(0),
    start(from: ArrayLike<number>): number[] {
      const euler = new Euler().setFromQuaternion(new Quaternion(from[3], from[4], from[5], from[6]));
      return [
        from[0],
        from[1],
        from[2],
        euler.x,
        euler.y,
        euler.z,
        0.3,
        0.9,
        -0.4,
        ...new Array<number>(OFF).fill(0),
      ];
    },
    model(parameters: readonly number[]): (row: number) => number {
      if (parameters.some((value, i) => value !== last[i])) {
        last = [...parameters];
        now = residuals(last);
      }
      const of = now;
      return (row) => of[row];
    },
  };
}

/** [x, y, z, qx, qy, qz, qw] of the parameters. */
export function placeThree(parameters: readonly number[]): number[] {
  const q = new Quaternion().setFromEuler(new Euler(parameters[3], parameters[4], parameters[5]));
  return [parameters[0], parameters[1], parameters[2], q.x, q.y, q.z, q.w];
}
