import type { Glove, HandFrame } from '../glove/glove.js';
import { FINGERS, JOINT_COUNT, POSE_STRIDE } from '../hand/joints.js';
import type { Mutable } from '../mutable.js';
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
  /** Fingers that touch are shown resting on the surface, and pressures are given. */
  surface: boolean;
  /** Whole. */
  predictMs: number;
}

/** Poses of one hand for all readers with the same subscription: one count, and one encoding per pose. */
export class Poses {
  readonly out = new Broadcast();
  readonly #encode: EncodePose;
  readonly #opcode: number;
  /** Poses other than those measured: predicted, or at rest on a surface. */
  readonly #shown: Float64Array | undefined;
  readonly #pressures: Float64Array | undefined;
  #buffer = Buffer.allocUnsafeSlow(MAX_POSE_FRAME);
  /** Views of the buffer by length, made when first needed: poses are of few lengths. */
  #views = new Map<number, Buffer>();
  readonly #message: Mutable<PoseMessage>;

  constructor(
    readonly glove: Glove,
    readonly options: PoseOptions,
  ) {
    const binary = options.encoding === 'binary';
    this.#encode = binary ? encodeJointsBinary : encodeJointsJson;
    this.#opcode = binary ? OPCODE_BINARY : OPCODE_TEXT;
    const { fingerStates, poses } = glove.frame;
    this.#message = {
      hand: 'left',
      seq: 0xffff_ffff,
      timeUs: 0,
      aheadMs: 0,
      valid: false,
      recorded: false,
      reason: undefined,
      space: 'wrist',
      fingerStates,
      poses,
      velocities: undefined,
      pressures: undefined,
    };
    this.describe();
    const other = options.predictMs > 0 || options.surface;
    this.#shown = other ? new Float64Array(JOINT_COUNT * POSE_STRIDE) : undefined;
    this.#pressures = options.surface ? new Float64Array(FINGERS.length) : undefined;
  }

  /** Another glove may stand behind it now. */
  describe(): void {
    this.#message.hand = this.glove.description.hand;
    this.#message.recorded = this.glove.recorded;
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
      this.#views.clear();
      this.out.lent = false;
    }
    const message = this.#message;
    const seq = message.seq;
    message.seq = (seq + 1 + skipped) >>> 0;
    message.timeUs = timeUs;
    message.valid = frame.valid;
    message.reason = frame.reason;
    message.space = frame.space;
    message.fingerStates = frame.fingerStates;
    message.velocities = this.options.velocities ? frame.velocities : undefined;
    message.poses = frame.poses;
    message.aheadMs = 0;
    message.pressures = this.#pressures;
    if (!frame.valid) this.#pressures?.fill(0);
    if (this.#shown && frame.valid) {
      const aheadS = this.options.predictMs / 1000;
      if (this.#pressures) this.glove.rest(aheadS, this.#shown, this.#pressures);
      else this.glove.predict(aheadS, this.#shown);
      message.poses = this.#shown;
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
    this.out.publish(this.#view(end));
    return true;
  }

  #view(end: number): Buffer {
    let view = this.#views.get(end);
    if (!view) {
      view = this.#buffer.subarray(0, end);
      this.#views.set(end, view);
    }
    return view;
  }
}
