import type { HandSide } from '../hand/joints.js';

/** What a pose encoder gets. */
export interface PoseMessage {
  readonly hand: HandSide;
  readonly seq: number;
  /** Whole µs. */
  readonly timeUs: number;
  /** How far the poses are predicted beyond timeUs, whole ms, 0..63; 0: not at all. */
  readonly aheadMs: number;
  readonly valid: boolean;
  /** Of a session that is replayed. */
  readonly recorded: boolean;
  readonly reason: string | undefined;
  readonly space: 'wrist' | 'world';
  readonly fingerStates: Uint8Array;
  readonly poses: Float64Array;
  /** Absent when not subscribed. */
  readonly velocities: Float64Array | undefined;
  /** How firmly each finger presses, 0..1; absent when not subscribed. */
  readonly pressures: Float64Array | undefined;
}

/** Limit for every number of a pose: a scene is ±10 km. Keeps the text short. */
export const LARGEST = 1e8;

/** A reason is one line; a longer one is cut, which bounds the size of a pose. */
export const MAX_REASON = 300;

/** Room for the largest pose in either encoding, with its frame header. */
export const MAX_POSE_FRAME = 16 * 1024;

/**
 * Writes the message into `target` from `start`.
 * @returns the end of what was written, or -1 when a number is not finite or absurdly large (nothing to send)
 */
export type EncodePose = (target: Buffer, start: number, message: PoseMessage) => number;
