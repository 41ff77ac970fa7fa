import { createHandsGap } from '../hand/hands-gap.js';
import { JOINT_NAMES } from '../hand/joints.js';
import type { WristReport } from '../protocol/wrist-report.js';
import type { Glove, HandFrame } from './view.js';

/** Whether a hand reaches into another one that is in the same world, or is in another world: said, and nothing is done. */
export interface OtherHand {
  /** Looks, a few times a second. @returns what there is to say has changed: it reaches into another and did not, or the reverse */
  look(nowUs: number): boolean;
  report(): Pick<WristReport, 'overlap' | 'note'>;
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
  let note: string | undefined;
  return {
    report: () => ({ overlap, note }),
    look(nowUs) {
      if (nowUs - lookedUs < EVERY_US) return false;
      lookedUs = nowUs;
      const was = overlap !== undefined;
      const noted = note;
      const least = was ? ENDS_M : BEGINS_M;
      overlap = undefined;
      note = undefined;
      if (!frame.valid || frame.space !== 'world') return was || noted !== undefined;
      for (const other of others()) {
        if (other.frame === frame || !other.frame.valid || other.frame.space !== 'world') continue;
        // Two worlds have no common origin: their distance says nothing.
        const { hand } = other.description;
        if (frame.world && other.frame.world && frame.world !== other.frame.world) {
          note = `The ${hand} hand is placed in ${other.frame.world} space, this one in ${frame.world} space: let the apps that place them use the same.`;
          continue;
        }
        const { gapM, bone, otherBone } = gapOf(frame.poses, other.frame.poses);
        if (-gapM < least) continue;
        overlap = { hand, depthMm: -gapM * 1000, at: JOINT_NAMES[bone], into: JOINT_NAMES[otherBone] };
      }
      return was !== (overlap !== undefined) || noted !== note;
    },
  };
}
