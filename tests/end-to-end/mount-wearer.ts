import { createPoses, JOINT_COUNT, POSE_STRIDE } from '../../src/hand/index.js';
import { rotate, type Vector } from '../../src/hand/rotation.js';
import { CHAIN_START } from '../../src/hand/skeleton.js';
import { seeded } from '../hand/chain.js';
import { compose, createNormal, inverse } from '../hand/mount-wearer.js';
import type { App } from '../stream/app.js';

export const MOUNT_MOVES = ['nod', 'wave', 'thumb', 'index', 'middle', 'ring', 'little'];

/** Which move a running fit of the mount asks for. */
export function watchMoves(stdout: NodeJS.ReadableStream): { readonly at: number; sinceS(): number } {
  let at = -1;
  let sinceMs = performance.now();
  let rest = '';
  stdout.on('data', (chunk: Buffer | string) => {
    const lines = `${rest}${chunk}`.split('\n');
    rest = lines.pop() ?? '';
    for (const line of lines) {
      const number = line.match(/^ ?(\d+)\/7 {2}/)?.[1];
      if (number === undefined) continue;
      at = Number(number) - 1;
      sinceMs = performance.now();
    }
  });
  return {
    get at() {
      return at;
    },
    sinceS: () => (performance.now() - sinceMs) / 1000,
  };
}

/** Where each fingertip touches, in the frame of the wrist: as the service shows the hand, but for what a hand is off. */
export function touchSeenBy(app: App): (finger: number) => Vector {
  const normal = createNormal(seeded(3));
  const poses = createPoses();
  const off = [0, 1, 2, 3, 4].map(() => [0.002 * normal(), 0.002 * normal(), 0.002 * normal()]);
  return (finger) => {
    const newest = app.of('joints').at(-1);
    for (let joint = 0; joint < JOINT_COUNT; joint++)
      poses.set(newest?.poses[joint] ?? [], joint * POSE_STRIDE);
    // Around the wrist, wherever the hand is shown.
    const wrist = inverse(poses.subarray(POSE_STRIDE, POSE_STRIDE + 7));
    const at = (CHAIN_START[finger] + 3) * POSE_STRIDE;
    const tip = compose(wrist, poses.subarray(at, at + 7));
    const inside = Math.SQRT1_2 * poses[at + 7];
    const pad = rotate(tip.subarray(3), [0, -inside, -inside]);
    return [0, 1, 2].map((k) => tip[k] + pad[k] + off[finger][k]) as Vector;
  };
}
