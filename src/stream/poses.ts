import type { Glove, HandFrame } from '../glove/glove.js';
import { JOINT_COUNT, POSE_STRIDE } from '../hand/joints.js';
import { Broadcast } from './broadcast.js';
import { type EncodePose, MAX_POSE_FRAME, type PoseMessage } from './encode.js';
import { encodeJointsBinary } from './encode-binary.js';
import { encodeJointsJson } from './encode-json.js';
import { MEDIUM_HEADER, OPCODE_BINARY, OPCODE_TEXT, writeMediumHeader } from './websocket-frame.js';

export type Encoding = 'json' | 'binary';

/** What distinguishes groups of readers of a hand's poses, besides the rate. */
export interface PoseOptions {
  encoding: Encoding;
  velocities: boolean;
  /** Whole. */
  predictMs: number;
}

/** Poses of one hand for all readers with the same subscription: one count, and one encoding per pose. */
export class Poses {
  readonly out = new Broadcast();
  readonly #encode: EncodePose;
  readonly #opcode: number;
  readonly #predicted: Float64Array | undefined;
  #buffer = Buffer.allocUnsafeSlow(MAX_POSE_FRAME);
  readonly #message: { -readonly [K in keyof PoseMessage]: PoseMessage[K] };

  constructor(
    readonly glove: Glove,
    readonly options: PoseOptions,
  ) {
    const binary = options.encoding === 'binary';
    this.#encode = binary ? encodeJointsBinary : encodeJointsJson;
    this.#opcode = binary ? OPCODE_BINARY : OPCODE_TEXT;
    const { fingerStates, poses } = glove.frame;
    this.#message = {
      hand: glove.description.hand,
      seq: 0xffff_ffff,
      timeUs: 0,
      aheadMs: 0,
      valid: false,
      reason: undefined,
      space: 'wrist',
      fingerStates,
      poses,
      velocities: undefined,
    };
    this.#predicted = options.predictMs > 0 ? new Float64Array(JOINT_COUNT * POSE_STRIDE) : undefined;
  }

  /**
   * Encodes the frame and offers it to the readers.
   * @param timeUs time of the frame in whole µs, larger than the last one
   * @param skipped poses that were due to these readers but that the service had no time for: they are counted
   * @returns false when the frame holds a number that cannot be sent; nothing was sent and nothing counted
   */
  publish(frame: HandFrame, timeUs: number, skipped = 0): boolean {
    // A socket that could not take everything at once still refers to the bytes.
    if (this.out.lent) {
      this.#buffer = Buffer.allocUnsafeSlow(MAX_POSE_FRAME);
      this.out.lent = false;
    }
    const message = this.#message;
    const seq = message.seq;
    message.hand = this.glove.description.hand;
    message.seq = (seq + 1 + skipped) >>> 0;
    message.timeUs = timeUs;
    message.valid = frame.valid;
    message.reason = frame.reason;
    message.space = frame.space;
    message.fingerStates = frame.fingerStates;
    message.velocities = this.options.velocities ? frame.velocities : undefined;
    message.poses = frame.poses;
    message.aheadMs = 0;
    if (this.#predicted && frame.valid) {
      this.glove.predict(this.options.predictMs / 1000, this.#predicted);
      message.poses = this.#predicted;
      message.aheadMs = this.options.predictMs;
    }
    const end = this.#encode(this.#buffer, MEDIUM_HEADER, message);
    if (end < 0) {
      message.seq = seq;
      // The buffer is half overwritten: whoever is owed a pose waits for the next good one.
      this.out.message = undefined;
      return false;
    }
    writeMediumHeader(this.#buffer, this.#opcode, end - MEDIUM_HEADER);
    this.out.publish(this.#buffer.subarray(0, end));
    return true;
  }
}
