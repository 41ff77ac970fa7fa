import { parseTemplate } from '../config/line-template.js';
import type { ActuatorProfile, ChannelProfile, LinesProfile } from '../config/schema.js';
import type { HandSide } from '../hand/joints.js';
import { type ChannelRole, PROTOCOL_VERSION } from '../protocol/link-table.js';
import type { GloveCodec, GloveMessages, Hello } from './codec.js';
import { createLineReader } from './line-columns.js';
import { createLineWriter } from './line-output.js';
import { createLinePace } from './line-pace.js';
import { newCounters } from './packets.js';

/** A longer line, more than 64 columns of 16 characters, is not a reading. */
const MAX_LINE = 1100;
/** This many clean lines in a row show that it is this glove and not another device that prints numbers. */
const CLEAN_TO_KNOW = 3;
const LINE_FEED = 0x0a;
const CARRIAGE_RETURN = 0x0d;
const NOTHING = new Uint8Array(0);

/**
 * Delimited text lines, for a glove that keeps its maker's own firmware: one line is one reading.
 *
 *   chunk -> cut at CR or LF -> line-columns.ts (numbers by position) -> GloveMessages
 *
 * Such a glove says no hello, so the profile says it for it, once some lines have come that fit. A damaged line
 * costs itself alone; there is no CRC, so a digit that became another digit goes unnoticed here. Nor is there
 * a watchdog in the glove that we know of (GloveCodec.plain).
 */
export function createLineCodec(
  profile: LinesProfile,
  hand: HandSide,
  channels: readonly ChannelProfile[],
  actuators: readonly ActuatorProfile[],
  messages: GloveMessages,
): GloveCodec {
  const counters = newCounters();
  const reader = createLineReader(profile, channels);
  const pace = createLinePace(profile.sampleRateHz);
  const wearer: { slack?: number | undefined } = {};
  const resistLine =
    profile.output === undefined ? undefined : createLineWriter(profile.output, actuators, wearer);
  const releaseLine =
    profile.release === undefined ? resistLine : createLineWriter(profile.release, actuators, wearer);
  const { samples } = reader;
  const hello: Hello = {
    protocol: PROTOCOL_VERSION,
    hand,
    deviceId: '0000000000000000',
    firmwareVersion: 0,
    sampleRateHz: Math.round(profile.sampleRateHz),
    channels: reader.roles.map((role) => ({
      role: role as ChannelRole,
      bits: channels.find((channel) => channel.role === role)?.bits ?? 16,
    })),
    actuators: actuators.map(({ role, kind }) => ({ role, kind })),
  };

  const payOut = (slack: number | undefined): void => {
    wearer.slack = slack;
  };

  const partial = new Uint8Array(MAX_LINE);
  let partialLength = 0;
  let skipping = false;
  let clean = 0;
  let known = false;
  /** Until the first clean line, a header or half a line is not a fault. */
  let begun = false;
  let lines = 0;
  let toldBatteryMv = 0;

  const take = (bytes: Uint8Array, start: number, end: number, arrivalUs: number): void => {
    const verdict = reader.read(bytes, start, end);
    if (verdict === 'empty') return;
    lines++;
    if (verdict !== 'clean') {
      clean = 0;
      const pardoned = !begun && (profile.header || lines === 1);
      if (!pardoned) counters[verdict === 'garbled' ? 'badCrc' : 'malformed']++;
      return;
    }
    begun = true;
    counters.frames++;
    if (!reader.hasTime) samples.deviceTimeUs = pace.next(arrivalUs);
    samples.seq = (samples.seq + 1) & 0xff;
    if (!known && ++clean === CLEAN_TO_KNOW) {
      known = true;
      messages.hello(hello);
    }
    messages.samples(samples);
    tellBattery();
  };

  /** 20 mV is less than one per cent of a lithium cell. */
  const tellBattery = (): void => {
    if (Math.abs(reader.batteryMv - toldBatteryMv) < 20) return;
    toldBatteryMv = reader.batteryMv;
    messages.state({
      batteryMv: toldBatteryMv,
      faults: [],
      framesDropped: 0,
      watchdogTrips: 0,
      positions: [],
    });
  };

  const keep = (chunk: Uint8Array, start: number, end: number): void => {
    if (skipping) return;
    if (partialLength + (end - start) > MAX_LINE) {
      counters.oversize++;
      skipping = true;
      clean = 0;
      partialLength = 0;
      return;
    }
    for (let i = start; i < end; i++) partial[partialLength++] = chunk[i];
  };

  return {
    counters,
    plain: true,
    ...(paysOut(profile) ? { payOut } : {}),
    push(chunk, arrivalUs = 0) {
      counters.bytes += chunk.length;
      let start = 0;
      for (let i = 0; i < chunk.length; i++) {
        if (chunk[i] !== LINE_FEED && chunk[i] !== CARRIAGE_RETURN) continue;
        const from = start;
        start = i + 1;
        if (partialLength === 0 && !skipping && i - from <= MAX_LINE) {
          take(chunk, from, i, arrivalUs);
          continue;
        }
        keep(chunk, from, i);
        const length = partialLength;
        const skipped = skipping;
        partialLength = 0;
        skipping = false;
        if (!skipped) take(partial, 0, length, arrivalUs);
      }
      if (start < chunk.length) keep(chunk, start, chunk.length);
    },
    reset() {
      partialLength = 0;
      skipping = false;
      clean = 0;
      known = false;
      begun = false;
      lines = 0;
      toldBatteryMv = 0;
      pace.reset();
    },
    askHello: () => NOTHING,
    resist: (_validForMs, stops, efforts, count) => resistLine?.(stops, efforts, count) ?? NOTHING,
    release: () => releaseLine?.() ?? NOTHING,
    ping: () => NOTHING,
    rate: () => NOTHING,
    pulse: () => NOTHING,
  };
}

/** Whether the line that frees says where the strings are paid out to. */
const paysOut = ({ output, release = output }: LinesProfile): boolean =>
  parseTemplate(release ?? '').some(
    (part) => typeof part !== 'string' && (part.quantity === 'stop' || part.quantity === 'us'),
  );
