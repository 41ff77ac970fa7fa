import { Triangle, Vector3 } from 'three';
import { ConvexHull } from 'three/examples/jsm/math/ConvexHull.js';
import type { ClosingProfile } from '../../src/hand/closing.js';
import { setCurl } from '../../src/hand/closing.js';
import { createPoses } from '../../src/hand/forward.js';
import { curlOf, DOF_COUNT, forwardKinematics, type Skeleton } from '../../src/hand/index.js';
import { POSE_STRIDE } from '../../src/hand/joints.js';
import { CHAIN_START } from '../../src/hand/skeleton.js';
import type { Shape } from '../../src/protocol/messages.js';

/**
 * First contact by trying every curl in steps of 0.001, with distances written anew and by other means than in
 * src/: textbook formulas without normals, three.js for hulls, and golden-section search along each bone.
 */

export type Distance = (x: number, y: number, z: number) => number;

export function distanceOf(shape: Shape): Distance {
  switch (shape.kind) {
    case 'sphere':
      return (x, y, z) => Math.sqrt(x * x + y * y + z * z) - shape.radius;
    case 'box': {
      const [hx, hy, hz] = shape.size.map((edge) => edge / 2);
      return (x, y, z) => {
        const qx = Math.abs(x) - hx;
        const qy = Math.abs(y) - hy;
        const qz = Math.abs(z) - hz;
        const outside = Math.sqrt(Math.max(qx, 0) ** 2 + Math.max(qy, 0) ** 2 + Math.max(qz, 0) ** 2);
        return outside + Math.min(Math.max(qx, qy, qz), 0);
      };
    }
    case 'capsule':
      return (x, y, z) => {
        const over = Math.max(Math.abs(y) - shape.length / 2, 0);
        return Math.sqrt(x * x + over * over + z * z) - shape.radius;
      };
    case 'cylinder':
      return (x, y, z) => {
        const side = Math.sqrt(x * x + z * z) - shape.radius;
        const end = Math.abs(y) - shape.length / 2;
        const outside = Math.sqrt(Math.max(side, 0) ** 2 + Math.max(end, 0) ** 2);
        return outside + Math.min(Math.max(side, end), 0);
      };
    case 'halfSpace':
      return (_x, y) => y;
    case 'hull':
      return hullDistanceByFaces(shape.points);
    case 'compound': {
      const parts = shape.parts.map(({ shape: part, position = [0, 0, 0], orientation = [0, 0, 0, 1] }) =>
        inFrame(distanceOf(part), [...position, ...orientation]),
      );
      return (x, y, z) => Math.min(...parts.map((part) => part(x, y, z)));
    }
  }
}

/** Signed distance to three.js' hull: the nearest of all its triangles, or inside, of all its planes. */
export function hullDistanceByFaces(points: readonly (readonly number[])[]): Distance {
  const hull = new ConvexHull().setFromPoints(points.map(([x, y, z]) => new Vector3(x, y, z)));
  const triangles: Triangle[] = [];
  for (const face of hull.faces) {
    // Faces are convex polygons: a fan of triangles each.
    const corners: Vector3[] = [];
    let edge = face.edge;
    do {
      corners.push(edge.head().point);
      edge = edge.next;
    } while (edge !== face.edge);
    for (let i = 2; i < corners.length; i++) {
      triangles.push(new Triangle(corners[0], corners[i - 1], corners[i]));
    }
  }
  const point = new Vector3();
  const nearest = new Vector3();
  return (x, y, z) => {
    point.set(x, y, z);
    let plane = Number.NEGATIVE_INFINITY;
    for (const face of hull.faces) plane = Math.max(plane, face.normal.dot(point) - face.constant);
    if (plane <= 0) return plane;
    let square = Number.POSITIVE_INFINITY;
    for (const triangle of triangles) {
      triangle.closestPointToPoint(point, nearest);
      square = Math.min(square, nearest.distanceToSquared(point));
    }
    return Math.sqrt(square);
  };
}

/** Pose [x, y, z, qx, qy, qz, qw] of the shape in the space of the hand's poses. */
export function inFrame(distance: Distance, pose: readonly number[]): Distance {
  const [px, py, pz, qx, qy, qz, qw] = pose;
  return (x0, y0, z0) => {
    const x = x0 - px;
    const y = y0 - py;
    const z = z0 - pz;
    // Turned by the conjugate.
    const tx = 2 * (qz * y - qy * z);
    const ty = 2 * (qx * z - qz * x);
    const tz = 2 * (qy * x - qx * y);
    return distance(
      x + qw * tx + qz * ty - qy * tz,
      y + qw * ty + qx * tz - qz * tx,
      z + qw * tz + qy * tx - qx * ty,
    );
  };
}

const GOLDEN = (Math.sqrt(5) - 1) / 2;

/**
 * Least distance of the tapered capsule between two joints of `poses`.
 * @param enough the search ends early, with a lower bound, once the distance is known to be more than this
 */
export function boneGap(distance: Distance, poses: Float64Array, joint: number, enough = Infinity): number {
  const a = joint * POSE_STRIDE;
  const b = a + POSE_STRIDE;
  const dx = poses[b] - poses[a];
  const dy = poses[b + 1] - poses[a + 1];
  const dz = poses[b + 2] - poses[a + 2];
  const dr = poses[b + 7] - poses[a + 7];
  const at = (t: number) =>
    distance(poses[a] + t * dx, poses[a + 1] + t * dy, poses[a + 2] + t * dz) - poses[a + 7] - t * dr;
  const slope = Math.sqrt(dx * dx + dy * dy + dz * dz) + Math.abs(dr);
  const middle = at(0.5);
  if (middle - slope / 2 > enough) return middle - slope / 2;
  let low = 0;
  let high = 1;
  let t1 = high - GOLDEN;
  let t2 = low + GOLDEN;
  let f1 = at(t1);
  let f2 = at(t2);
  let best = Math.min(middle, at(0), at(1), f1, f2);
  for (let i = 0; i < 18; i++) {
    const least = Math.min(f1, f2) - slope * (high - low);
    if (least > enough) return least;
    if (f1 <= f2) {
      high = t2;
      t2 = t1;
      f2 = f1;
      t1 = high - GOLDEN * (high - low);
      f1 = at(t1);
      best = Math.min(best, f1);
    } else {
      low = t1;
      t1 = t2;
      f1 = f2;
      t2 = low + GOLDEN * (high - low);
      f2 = at(t2);
      best = Math.min(best, f2);
    }
  }
  return best;
}

export interface Scene {
  skeleton: Skeleton;
  profile: ClosingProfile;
  finger: number;
  dofs: Float64Array;
  /** Wrist [x, y, z, qx, qy, qz, qw]. */
  root: readonly number[];
  /** In the space of the poses. */
  distance: Distance;
  deviation: number[];
  bend: number;
  fastest: number;
}

const STEP = 0.001;
const dofsAt = new Float64Array(DOF_COUNT);
const posesAt = createPoses();

/**
 * Adds to a hand what the closing path of one finger needs: it is the profile, bent to go through the present pose.
 * `fastest` is generous: metres that any part of the finger moves per unit of curl.
 */
export function createScene(hand: Omit<Scene, 'deviation' | 'bend' | 'fastest'>): Scene {
  const { profile, finger, dofs } = hand;
  const now = curlOf(profile, finger, dofs);
  const onProfile = dofs.slice();
  setCurl(profile, finger, now, onProfile);
  const deviation = [0, 1, 2, 3].map((i) => dofs[finger * 4 + i] - onProfile[finger * 4 + i]);
  const bend = Math.min(Math.max(now, 0.05), 0.95);
  const bending = (0.15 * deviation.reduce((sum, x) => sum + Math.abs(x), 0)) / Math.min(bend, 1 - bend);
  return { ...hand, deviation, bend, fastest: 1 + bending };
}

/** The hand with the finger at `curl` of its closing path. */
export function poseAt(scene: Scene, curl: number): Float64Array {
  const { profile, finger, dofs, skeleton, root, deviation, bend } = scene;
  const weight = curl <= bend ? curl / bend : (1 - curl) / (1 - bend);
  dofsAt.set(dofs);
  setCurl(profile, finger, curl, dofsAt);
  for (let i = 0; i < 4; i++) {
    if (i !== 1) dofsAt[finger * 4 + i] += weight * deviation[i];
    else if (finger === 0) dofsAt[1] += deviation[1];
  }
  forwardKinematics(skeleton, dofsAt, posesAt, root);
  return posesAt;
}

/** Gap to touching of each bone at a curl: distance plus what it may be inside because it was with the hand open. */
export function gapAt(scene: Scene, curl: number, rest: readonly number[], enough = Infinity): number {
  const poses = poseAt(scene, curl);
  const start = CHAIN_START[scene.finger];
  let least = Infinity;
  for (let bone = 0; bone < 3; bone++) {
    const gap = boneGap(scene.distance, poses, start + bone, enough - rest[bone]) + rest[bone];
    least = Math.min(least, gap);
  }
  return least;
}

/** What each bone may be inside: 0, or if it is inside with the finger open, that and 0.2 mm. */
export function restOf(scene: Scene): number[] {
  const poses = poseAt(scene, 0);
  const start = CHAIN_START[scene.finger];
  return [0, 1, 2].map((bone) => {
    const gap = boneGap(scene.distance, poses, start + bone);
    return gap <= 0 ? 2e-4 - gap : 0;
  });
}

/**
 * The first curl, in steps of 0.001, at which the finger touches; Infinity if it never does. Steps are passed over
 * only where the finger is so far away that it cannot be there in time.
 */
export function firstContactByTrying(scene: Scene, rest: readonly number[]): number {
  const steps = 1 / STEP;
  let i = 0;
  while (i <= steps) {
    const gap = gapAt(scene, i * STEP, rest, 0);
    if (gap <= 0) return i * STEP;
    i += Math.max(1, Math.floor(gap / (scene.fastest * STEP)));
  }
  return Infinity;
}
