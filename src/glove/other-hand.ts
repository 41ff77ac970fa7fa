import { createHandsGap } from '../hand/hands-gap.js';
import { JOINT_NAMES } from '../hand/joints.js';
import type { WristReport } from '../protocol/wrist-report.js';
import type { Glove, HandFrame } from './view.js';

/** Whether a hand reaches into another one that is in the same world: said, and nothing is done about it. */
export interface OtherHand {
  /** Looks, a few times a second. @returns it reaches into another now and did not, or the reverse */
  look(nowUs: number): boolean;
  report(): WristReport['overlap'];
}

const EVERY_US = 200_000;
/** Deeper begins it, shallower ends it, m: hands that press on each other give way, and trackers tremble. */
const BEGINS_M = 0.004;
const ENDS_M = 0.001;

/** @param others gloves of this service; its own counts for nothing */
export function createOtherHand(frame: HandFrame, others: () => readonly Glove[]): OtherHand {
  const gapOf = createHandsGap();
  let lookedUs = Number.NEGATIVE_INFINITY;
  let overlap: WristReport['overlap'];
  return {
    report: () => overlap,
    look(nowUs) {
      if (nowUs - lookedUs < EVERY_US) return false;
      lookedUs = nowUs;
      const was = overlap !== undefined;
      const least = was ? ENDS_M : BEGINS_M;
      overlap = undefined;
      if (!frame.valid || frame.space !== 'world') return was;
      for (const other of others()) {
        if (other.frame === frame || !other.frame.valid || other.frame.space !== 'world') continue;
        const { gapM, bone, otherBone } = gapOf(frame.poses, other.frame.poses);
        if (-gapM < least) continue;
        const { hand } = other.description;
        overlap = { hand, depthMm: -gapM * 1000, at: JOINT_NAMES[bone], into: JOINT_NAMES[otherBone] };
      }
      return was !== (overlap !== undefined);
    },
  };
}
