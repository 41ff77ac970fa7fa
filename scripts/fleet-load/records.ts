import { type HandSide, JOINT_COUNT, POSE_STRIDE } from '../../src/hand/joints.js';
import { createOfflineHands } from '../../src/recording/offline.js';
import { openSession } from '../../src/recording/session.js';
import { encodeJointsBinary } from '../../src/stream/encode-binary.js';

/** Real records of a session that comes with the program: what a station publishes of one hand, again and again. */
export interface Records {
  /** Poses, of which the time (f64 at 8) and the number (u32 at 4) are written anew. */
  poses: Uint8Array[];
  /** Link bytes in pieces as they arrived, by quarter of a second. */
  quarters: Uint8Array[][];
}

const POSES = 90;
const QUARTERS = 20;

export function readRecords(file = 'config/sessions/everyday.mcap'): Records {
  const session = openSession(file);
  const poses: Uint8Array[] = [];
  const quarters: Uint8Array[][] = [];
  const target = Buffer.alloc(4096);
  const hands = createOfflineHands(session, (hand: HandSide, frame) => {
    if (!frame.valid || poses.length >= POSES) return;
    if (frame.poses.length !== JOINT_COUNT * POSE_STRIDE) throw new Error('not a hand');
    const end = encodeJointsBinary(target, 0, {
      hand,
      seq: 0,
      timeUs: frame.timeUs,
      aheadMs: 0,
      recorded: false,
      space: frame.space,
      valid: true,
      reason: undefined,
      fingerStates: frame.fingerStates,
      poses: frame.poses,
      velocities: undefined,
      pressures: undefined,
    });
    poses.push(Uint8Array.prototype.slice.call(target, 0, end));
  });
  let startUs = Number.NaN;
  session.visit({
    ...hands.visitor,
    received(hand, timeUs, bytes) {
      hands.visitor.received!(hand, timeUs, bytes);
      if (hand !== session.hands[0]) return;
      if (Number.isNaN(startUs)) startUs = timeUs;
      const quarter = Math.floor((timeUs - startUs) / 250_000);
      if (quarter >= QUARTERS) return;
      quarters[quarter] ??= [];
      quarters[quarter].push(Uint8Array.prototype.slice.call(bytes));
    },
  });
  session.close();
  return { poses, quarters: quarters.filter((quarter) => quarter !== undefined) };
}
