import { systemClock } from '../clock.js';
import type { FleetKind } from '../config/schema-fleet.js';
import type { Glove, HandFrame } from '../glove/view.js';
import { HAND_SIDES, type HandSide } from '../hand/joints.js';
import { recordGlove } from '../recording/glove-recorder.js';
import { writeState } from '../recording/glove-records.js';
import { Decimator } from '../stream/decimator.js';
import { MAX_POSE_FRAME } from '../stream/encode.js';
import { encodeJointsBinary } from '../stream/encode-binary.js';
import { Throttle } from '../stream/throttle.js';
import { createSegmentBuilder, type SegmentBuilder, type SegmentChannel } from './segment.js';
import type { Kind } from './topics.js';

/** Follows one glove, and gives what is published of it. */
export interface GlovePublisher {
  /** Gives the segment that is under way. */
  flush(): void;
  stop(): void;
}

export interface GlovePublisherOptions {
  glove: Glove;
  wants(kind: FleetKind): boolean;
  rateHz: number;
  run: string;
  digest: string;
  /** `bytes` are the taker's. */
  give(kind: Kind, hand: HandSide, bytes: Uint8Array): void;
  /** The glove described itself. */
  described(): void;
  /** Something of its status changed. */
  changed(): void;
}

const HEALTH_MS = 1000;
const STATUS_MS = 1000;
/** A segment never grows past this, however much a glove says. */
const MAX_SEGMENT = 96 * 1024;

export function publishGlove(options: GlovePublisherOptions): GlovePublisher {
  const { glove, wants, rateHz, run, digest, give } = options;
  const hand = (): HandSide => glove.description.hand;
  const raw = wants('raw') ? recordRaw(glove, run, digest, give) : undefined;
  const json = (kind: Kind, body: object): void =>
    give(kind, hand(), Buffer.from(JSON.stringify({ type: kind, ...body })));
  const status = new Throttle(STATUS_MS, options.changed);
  const health = new Throttle(HEALTH_MS, () => json('health', glove.readHealth()));
  const since = { event: 0 };
  const resistance = new Throttle(1000 / rateHz, () => json('resistance', glove.recordResistance(since)));
  let inputsSeq = 0;
  const inputs = new Throttle(1000 / rateHz, () => {
    const body = glove.readInputs();
    json('inputs', { seq: inputsSeq++ >>> 0, ...body, timeUs: Math.round(body.timeUs) });
  });
  const pose = Buffer.alloc(MAX_POSE_FRAME);
  let decimator = new Decimator(rateHz, glove.description.sampleRateHz);
  let jointsSeq = 0;
  let wasValid = false;

  function joints(frame: HandFrame): void {
    const end = encodeJointsBinary(pose, 0, {
      hand: hand(),
      seq: jointsSeq,
      timeUs: Math.round(frame.timeUs),
      aheadMs: 0,
      recorded: glove.recorded,
      space: frame.space,
      valid: frame.valid,
      reason: frame.reason,
      fingerStates: frame.fingerStates,
      poses: frame.poses,
      velocities: undefined,
      pressures: undefined,
    });
    if (end < 0) return;
    jointsSeq = (jointsSeq + 1) >>> 0;
    give('joints', hand(), Uint8Array.prototype.slice.call(pose, 0, end));
  }

  const unlisten = glove.listen({
    frame(frame) {
      if (frame.valid !== wasValid) {
        wasValid = frame.valid;
        status.request();
      }
      const due = decimator.take(frame.timeUs) || !frame.valid;
      if (due && wants('joints')) joints(frame);
    },
    described() {
      decimator = new Decimator(rateHz, glove.description.sampleRateHz);
      options.described();
      status.request();
    },
    health() {
      status.request();
      if (wants('health')) health.request();
    },
    resistance() {
      if (wants('resistance')) resistance.request();
    },
    inputs() {
      if (wants('inputs')) inputs.request();
    },
  });

  return {
    flush: () => raw?.flush(),
    stop() {
      unlisten();
      raw?.stop();
      for (const throttle of [status, health, resistance, inputs]) throttle.stop();
    },
  };
}

/** Records the glove into segments, as a recorder does into a file. */
export function recordRaw(
  glove: Glove,
  run: string,
  digest: string,
  give: GlovePublisherOptions['give'],
  clock = systemClock,
): { flush(): void; stop(): void } {
  const builders = Object.fromEntries(
    HAND_SIDES.map((hand) => [hand, createSegmentBuilder(hand, run, () => digest)]),
  ) as Record<HandSide, SegmentBuilder>;
  const utf8 = new TextEncoder();

  function add(hand: HandSide, channel: SegmentChannel, timeUs: number, bytes: Uint8Array): void {
    const builder = builders[hand];
    builder.add(channel, timeUs, bytes);
    if (builder.bytes > MAX_SEGMENT) send(hand);
  }
  function send(hand: HandSide): void {
    const segment = builders[hand].take();
    if (segment) give('raw', hand, segment);
  }
  const records = {
    link: add,
    joints() {},
    json: (hand: HandSide, channel: string, timeUs: number, body: object) =>
      add(hand, channel as SegmentChannel, timeUs, utf8.encode(JSON.stringify(body))),
  };
  writeState(records, glove, clock.nowUs());
  const recorder = recordGlove(glove, () => records, clock, false);
  const flush = (): void => {
    recorder.flush();
    for (const hand of HAND_SIDES) send(hand);
  };
  return {
    flush,
    stop() {
      flush();
      recorder.stop();
    },
  };
}
