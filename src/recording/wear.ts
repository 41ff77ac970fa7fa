import type { SavedFit } from '../config/fit-file.js';
import type { GloveProfile } from '../config/schema.js';
import type { DatedDay } from '../guide/wear/judge.js';
import { createSensorDays, type SensorDays } from '../guide/wear/measure.js';
import type { HandSide } from '../hand/joints.js';
import { codecOf } from '../link/codec-of.js';
import { placeOf } from '../sensing/channels.js';
import type { Session } from './session.js';

/** What sessions and fits say of the wear of a glove's sensors. */

export interface GloveDay extends DatedDay {
  readonly glove: string;
  readonly hand: HandSide;
}

/** A session shorter than this says little, s. */
const LEAST_S = 60;
/** Of a long session, the first hour is enough. */
const MOST_S = 3600;

/** Reads a session once. @returns a day for each of its gloves that moved long enough */
export function daysOfSession(session: Session): GloveDay[] {
  const atMs = Date.parse(session.head.startedAt);
  const gloves = session.hands.flatMap((hand) => {
    const profile = session.profile.gloves.find((one) => one.hand === hand);
    return profile ? [{ hand, profile, ...reader(profile) }] : [];
  });
  session.visit({
    received(hand, timeUs, bytes) {
      if (timeUs - session.startUs > MOST_S * 1e6) return;
      gloves.find((one) => one.hand === hand)?.push(bytes, timeUs);
    },
  });
  return gloves.flatMap(({ hand, profile, days }) => {
    const seen = days();
    return seen && seen.seconds >= LEAST_S ? [{ glove: profile.name, hand, atMs, sensors: seen.end() }] : [];
  });
}

/** Decodes what a glove sent, channel by channel of its profile. */
function reader(profile: GloveProfile): {
  push(bytes: Uint8Array, timeUs: number): void;
  days(): SensorDays | undefined;
} {
  let days: SensorDays | undefined;
  let order: number[] = [];
  let counts = new Uint16Array(0);
  let arrivalUs = 0;
  // By the glove's clock, which the line does not disturb.
  let lastUs = Number.NaN;
  let timeS = 0;
  const channels = profile.channels.filter(
    ({ role }) => placeOf(role) !== undefined && !role.startsWith('wrist.'),
  );

  function begin(sent: readonly string[]): void {
    order = channels.map(({ role }) => sent.indexOf(role));
    const known = channels.filter((_, i) => order[i] >= 0);
    order = order.filter((at) => at >= 0);
    counts = new Uint16Array(order.length);
    days ??= createSensorDays(
      known.map(({ role, bits, open, closed, inverted }) => ({
        role,
        maxCounts: 2 ** bits - 1,
        finger:
          placeOf(role)!.kind === 'curl' || placeOf(role)!.kind === 'joint' ? placeOf(role)!.finger : -1,
        towards: closed >= open === !inverted ? 1 : -1,
      })),
    );
  }

  const codec = codecOf(profile)({
    hello: ({ channels: sent }) => begin(sent.map(({ role }) => role)),
    samples({ deviceTimeUs, channels: values, channelCount }) {
      if (!days) begin(profile.channels.map(({ role }) => role));
      const stepUs = Number.isNaN(lastUs) ? 0 : (deviceTimeUs - lastUs) >>> 0;
      lastUs = deviceTimeUs;
      // A clock that started over: as if a second had passed.
      timeS += stepUs > 60e6 ? 1 : stepUs * 1e-6;
      for (let i = 0; i < order.length; i++) counts[i] = order[i] < channelCount ? values[order[i]] : 0;
      days!.sample(counts, timeS);
    },
    state() {},
    pong() {},
    note() {},
  });
  return {
    push(bytes, timeUs) {
      arrivalUs = timeUs;
      codec.push(bytes, arrivalUs);
    },
    days: () => days,
  };
}

/** Fits know the ends of the sensors better than any session. */
export const daysOfFits = (fits: readonly SavedFit[]): GloveDay[] =>
  fits.flatMap(({ savedAt, glove, hand, channels, undone }) => {
    const atMs = Date.parse(savedAt);
    if (undone || !channels || Number.isNaN(atMs)) return [];
    const sensors = channels.map(({ role, bits, open, closed }) => ({
      role,
      noise: Number.NaN,
      friction: Number.NaN,
      jumpsPerHour: Number.NaN,
      low: Math.min(open, closed) / (2 ** bits - 1),
      high: Math.max(open, closed) / (2 ** bits - 1),
    }));
    return [{ glove, hand, atMs, sensors }];
  });
