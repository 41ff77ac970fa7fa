import type { AppMessageOf } from '../protocol/messages.js';
import type { HandFrame } from './view.js';

/** Where the wrist of one hand is: from an app's tracker while that is live, otherwise turned by the glove's own sensor. */
export interface GloveWrist {
  /** [x, y, z, qx, qy, qz, qw] */
  readonly root: Float64Array;
  /** @returns the root for the present pose; undefined for the identity */
  place(turn: ArrayLike<number>, nowUs: number): Float64Array | undefined;
  /** @returns false for an orientation that is not a rotation */
  track(request: AppMessageOf<'tracker'>, nowUs: number): boolean;
  /** As if no tracker had ever been there. */
  forget(): void;
}

const TRACKER_TTL_MS = 1000;

/** @param frame its `space` is kept */
export function createGloveWrist(frame: HandFrame): GloveWrist {
  const root = new Float64Array(7);
  root[6] = 1;
  let trackerUntilUs = Number.NEGATIVE_INFINITY;
  return {
    root,
    place(turn, nowUs) {
      if (frame.space === 'world') {
        if (nowUs <= trackerUntilUs) return root;
        frame.space = 'wrist';
        root.fill(0);
      }
      root.set(turn, 3);
      return turn[3] === 1 ? undefined : root;
    },
    track(request, nowUs) {
      const [x, y, z] = request.position;
      const [qx, qy, qz, qw] = request.orientation;
      const length = Math.hypot(qx, qy, qz, qw);
      if (length < 0.5) return false;
      root.set([x, y, z, qx / length, qy / length, qz / length, qw / length]);
      frame.space = 'world';
      trackerUntilUs = nowUs + (request.ttlMs ?? TRACKER_TTL_MS) * 1000;
      return true;
    },
    forget() {
      trackerUntilUs = Number.NEGATIVE_INFINITY;
      frame.space = 'wrist';
      root.fill(0);
      root[6] = 1;
    },
  };
}
