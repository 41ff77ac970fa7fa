import type { ChannelProfile } from '../../src/config/schema.js';
import { type FitResult, fitChannels } from '../../src/guide/fit.js';
import { createGuidedRun } from '../../src/guide/guided-run.js';
import { mergeFit } from '../../src/guide/merge-fit.js';
import { fitMoves } from '../../src/guide/moves.js';
import { createClosingProfile, setCurl } from '../../src/hand/closing.js';
import { DOF_COUNT } from '../../src/hand/dofs.js';
import { DOF_SENSED_MAX, DOF_SENSED_MIN } from '../../src/hand/limits.js';
import type { ChannelRole } from '../../src/protocol/link-table.js';
import { type Channel, closingAnglesOf, compileChannels } from '../../src/sensing/channels.js';
import { excursionMm } from '../../src/sensing/string-model.js';
import { createWearer, type HandState, type WearerOptions } from '../guide/wearer.js';
import { channel, gaussian, gloveWith, random } from './glove-signals.js';

/** Gloves whose truth is known: what each sensor really does to the hand inside. */
export interface SyntheticOptions {
  seed: number;
  roles: readonly ChannelRole[];
  bits: 10 | 12;
  /** Greatest departure of a potentiometer from a straight line, part of its range. */
  bow: number;
  /** Backlash of string and guide, part of the range. */
  hysteresis: number;
  /** Standard deviation of a reading, part of full scale. */
  noise: number;
  /** The profile says that sensors hang on strings. */
  strings: boolean;
}

export const closing = createClosingProfile();

export function createSyntheticGlove(options: SyntheticOptions) {
  const { seed, roles, bits, bow, hysteresis, noise, strings } = options;
  const uniform = random(seed);
  const normal = gaussian(seed + 1);
  const between = (low: number, high: number) => low + (high - low) * uniform();
  const full = 2 ** bits - 1;
  const string = { spoolRadiusMm: 10, electricalTravelDeg: 270 };
  const profile = gloveWith(
    roles.map((role) =>
      channel(role, {
        bits,
        open: Math.round(0.1 * full),
        closed: Math.round(0.9 * full),
        ...(strings && role.endsWith('.curl') ? { string } : {}),
      } satisfies Partial<ChannelProfile>),
    ),
  );
  const channels = compileChannels(profile, roles, closing);
  const sensors = channels.map((one) => ({
    low: between(0.06, 0.2) * full,
    high: between(0.75, 0.92) * full,
    turned: uniform() < 0.3,
    bend: bow * between(-1, 1),
    wave: 0.4 * bow * between(-1, 1),
    heights: [between(10, 14), between(7, 11), between(5, 9)],
    angles: one.finger >= 0 ? closingAnglesOf(closing, one.finger) : undefined,
    played: Number.NaN,
    hysteresis,
    slip: 0,
  }));
  const dofs = new Float64Array(DOF_COUNT);
  const angles = new Float64Array(3);

  /** What a sensor turns by, 0..1 over the hand's range. */
  function travel(one: Channel, k: number, hand: HandState): number {
    const { finger, kind, part } = one;
    const { heights, angles: at } = sensors[k];
    if (kind === 'splay') return (hand.splays[finger] + 1) / 2;
    if (kind === 'curl') {
      if (!strings || !at) return hand.curls[finger];
      at(0, angles);
      const first = excursionMm(heights, angles);
      at(1, angles);
      const last = excursionMm(heights, angles);
      at(Math.min(1, Math.max(0, hand.curls[finger])), angles);
      return (excursionMm(heights, angles) - first) / (last - first);
    }
    setCurl(closing, finger, hand.curls[finger], dofs);
    const dof = finger * 4 + part;
    return (dofs[dof] - DOF_SENSED_MIN[dof]) / (DOF_SENSED_MAX[dof] - DOF_SENSED_MIN[dof]);
  }

  return {
    profile,
    channels,
    full,
    /** Whether the counts of a sensor rise as its finger closes. */
    rises: (k: number): boolean => !sensors[k].turned,
    /** The string of a sensor rubs: backlash, part of the range. */
    rub(k: number, part: number) {
      sensors[k].hysteresis = part;
    },
    /** Slips a sensor by a part of its range. */
    slip(k: number, part: number) {
      sensors[k].slip = part;
    },
    read(hand: HandState, counts: Uint16Array): void {
      for (const [k, one] of channels.entries()) {
        const sensor = sensors[k];
        const t = travel(one, k, hand) + sensor.slip;
        if (Number.isNaN(sensor.played)) sensor.played = t;
        sensor.played = Math.min(
          t + sensor.hysteresis / 2,
          Math.max(t - sensor.hysteresis / 2, sensor.played),
        );
        const x = sensor.played;
        const bent = x + sensor.bend * 4 * x * (1 - x) + sensor.wave * Math.sin(2 * Math.PI * x);
        const way = sensor.turned ? 1 - bent : bent;
        const value = sensor.low + way * (sensor.high - sensor.low) + noise * full * normal();
        counts[k] = Math.min(full, Math.max(0, Math.round(value)));
      }
    },
  };
}

export type SyntheticGlove = ReturnType<typeof createSyntheticGlove>;

/** A wearer goes through the whole fit, in simulated time. */
export function fitGlove(
  glove: SyntheticGlove,
  wearer: WearerOptions,
  rateHz = 200,
): { fit: FitResult; seconds: number } {
  const { channels } = glove;
  const run = createGuidedRun(channels, fitMoves(channels));
  const person = createWearer(wearer);
  const counts = new Uint16Array(channels.length);
  let t = 0;
  for (; !run.finished && t < 200 * rateHz; t++) {
    glove.read(person.at(run.moves[run.at], t / rateHz), counts);
    run.sample(counts, t / rateHz);
  }
  return { fit: fitChannels(run.record, channels, closing), seconds: t / rateHz };
}

export const fittedProfile = (glove: SyntheticGlove, fit: FitResult) => mergeFit(glove.profile, fit.channels);
