import type { ClosingProfile } from '../../hand/closing.js';
import type { ChannelRole } from '../../protocol/link-table.js';
import type { Channel } from '../../sensing/channels.js';
import { joinLookups, lookAt } from '../../sensing/lookup.js';
import type { Steps } from '../../steps.js';
import { CURVE_AT, knownShape, rangeOf, rising, STRAIGHT, widestDeg } from '../channel-shape.js';
import type { FittedChannel } from '../fit.js';
import { quantile } from '../move-statistics.js';
import { isControl } from '../moves.js';
import { type LearnedControl, learnControls } from './controls.js';
import { type DirectionChannel, directionsOf } from './directions.js';
import { beyondChanceOf, endsOf } from './ends.js';
import { type Shape, shapesOf } from './shapes.js';
import type { StrokeChannel } from './strokes.js';
import { doubtful, LEAST_POSES, notSeen, tooLittle, type Unlearned, unlike, whichWay } from './unlearned.js';
import { ROW_S, type UsedRows } from './use-record.js';
import { type End, endAt, visitsOf } from './visits.js';
import { type WallFinger, wallsAt } from './walls.js';

/**
 * A fit from ordinary motion, without asking for anything: ends from poses that were held at them, directions and shapes
 * from how the fingers move together. A channel is proposed only if what was found differs from what is in use by more
 * than twice (of a fit: three times) what it may itself be wrong by: then what is in use is the one that is farther off (if |use - found| >= 2 e
 * and |found - true| <= e, then |use - true| >= e). What comes from a fit is proposed to be changed only where, besides, its ends
 * are refuted (ends.ts).
 */
export interface LearnedChannel extends Omit<FittedChannel, 'residualDeg'> {
  /** One standard deviation over the range, degrees of the widest joint that the channel moves. */
  readonly uncertaintyDeg: number;
  /** What is in use differs by, root mean square over the range, degrees. */
  readonly differsDeg: number;
  /** It is the other way round than what is in use says. */
  readonly turned: boolean;
}

export interface Learned {
  /** Motion that it rests on, s. */
  readonly seconds: number;
  /** To be proposed. */
  readonly channels: readonly LearnedChannel[];
  /** Sticks and triggers to be proposed. */
  readonly controls: readonly LearnedControl[];
  /** A better dead zone for the stick, part of its travel. */
  readonly stickDeadZone?: number;
  /** Seen well, and as in use within what can be told. */
  readonly asInUse: readonly ChannelRole[];
  readonly missing: readonly Unlearned[];
}

export interface LearnOptions {
  readonly channels: readonly Channel[];
  readonly closing: ClosingProfile;
  /** Per channel: what is in use was fitted to this wearer, rather than written by hand. */
  readonly fitted: readonly boolean[];
  /** Per channel: the sensor is at fault. */
  readonly faulty: readonly boolean[];
  /** In use, part of its travel. */
  readonly stickDeadZone: number;
}

/** Less motion than this says nothing, s. */
export const LEAST_S = 45;
/** A channel that moves over less than this part of its converter. */
const NO_RANGE = 0.03;
/** Ends that agree with a fit in use to this part of the range need no other evidence. */
const AS_IN_USE = 0.06;
/** A range that is so much shorter than the one in use was not seen whole: of a fit; of what a maker wrote. */
const SHORTER_THAN_FIT = 0.93;
const SHORTER_THAN_SAID = 0.55;
/** Odds that a direction in use is right, and of all together that it is said which way is closed. */
const ODDS_FITTED = 100;
const ODDS_SAID = 3;
const SURE = Math.log(10);
/** What is in use is left alone unless it differs by so many times what the proposal may be wrong by: of a fit, of numbers. */
const DIFFERS_FROM_FIT = 3;
const DIFFERS_FROM_SAID = 2;
/** And a fit, unless the ends are so many standard deviations from its own. */
const SURE_OF_FIT = 5;
const LEAST_DIFFERENCE_DEG = 1;
/** What the shape of a guided fit may be wrong by, root mean square over the range: as simulated wearers follow the bar. */
const FITTED_SHAPE = 0.01;

interface Seen {
  readonly i: number;
  readonly channel: Channel;
  readonly levels: Float64Array;
  readonly low: End;
  readonly high: End;
}

interface Oriented extends WallFinger {
  readonly one: Seen;
  readonly turned: boolean;
}

const isOfFinger = ({ source, kind, finger }: Channel): boolean =>
  source >= 0 && finger >= 0 && (kind === 'curl' || kind === 'joint');
export const isLearned = (channel: Channel): boolean =>
  isOfFinger(channel) || (channel.source >= 0 && isControl(channel));

/** One step a channel and more: milliseconds each. */
export function* learnFit(rows: UsedRows, options: LearnOptions): Steps<Learned> {
  const { channels, closing, fitted, faulty } = options;
  const missing: Unlearned[] = [];
  const seen: Seen[] = [];
  const seconds = rows.timesS.length * ROW_S;
  for (const [i, channel] of channels.entries()) {
    if (!isOfFinger(channel)) continue;
    const { role } = channel;
    if (faulty[i])
      missing.push({
        role,
        missing: 'sensor',
        says: `${role}: its sensor is at fault; see \`tautline check\`.`,
      });
    else {
      const found = seconds < LEAST_S ? tooLittle(role) : seeEnds(rows, channel, i);
      if ('says' in found) missing.push(found);
      else seen.push(found);
    }
    yield;
  }
  const learned: LearnedChannel[] = [];
  const asInUse: ChannelRole[] = [];
  if (seen.length > 0) {
    const directions = directionsOf(
      seen.map(
        ({ levels, low, high, channel, i }): DirectionChannel => ({
          levels: levels.map((y) => (y - low.level) / (high.level - low.level)),
          finger: channel.finger,
          said: channel.closed >= channel.open ? 1 : -1,
          odds: fitted[i] ? ODDS_FITTED : ODDS_SAID,
        }),
      ),
    );
    yield;
    const oriented: Oriented[] = [];
    for (const [k, one] of seen.entries()) {
      const sign = directions.signs[k];
      const { role, open, closed, finger } = one.channel;
      if (sign === 0 || directions.logOdds < SURE) {
        missing.push(sign === 0 ? unlike(role) : whichWay(role));
        continue;
      }
      const [from, to] = sign > 0 ? [one.low, one.high] : [one.high, one.low];
      const values = one.levels.map((y) => (y - from.level) / (to.level - from.level));
      const turned = sign !== (closed >= open ? 1 : -1);
      oriented.push({ one, finger, values, open: from, closed: to, turned });
    }
    const walls = { open: wallsAt('open', oriented), closed: wallsAt('closed', oriented) };
    yield;
    const known = oriented.filter((one, k) => {
      const sure = { open: walls.open[k], closed: walls.closed[k] };
      const lacking = lackingEvidence(one, closing, fitted[one.one.i], sure);
      if (lacking) missing.push(lacking);
      return lacking === undefined;
    });
    const straightened: StrokeChannel[] = [];
    for (const { one, finger, values } of known) {
      straightened.push({ finger, values: values.map(inverseOf(knownShape(one.channel, closing))) });
      yield;
    }
    const shapes = yield* shapesOf(rows.timesS, straightened);
    for (const [k, { one, open, closed, turned }] of known.entries()) {
      yield;
      const { proposal, beyondChance } = propose(
        one.channel,
        closing,
        open,
        closed,
        shapes[k],
        turned,
        fitted[one.i],
      );
      const { differsDeg, uncertaintyDeg } = proposal;
      const differs = fitted[one.i] ? DIFFERS_FROM_FIT : DIFFERS_FROM_SAID;
      const refuted = !fitted[one.i] || beyondChance >= SURE_OF_FIT;
      if (refuted && differsDeg >= Math.max(LEAST_DIFFERENCE_DEG, differs * uncertaintyDeg))
        learned.push(proposal);
      else asInUse.push(one.channel.role);
    }
  }
  yield;
  const tooEarly = { controls: [], asInUse: [], missing: [] };
  const used = seconds < LEAST_S ? tooEarly : learnControls(rows, options);
  return {
    ...used,
    seconds,
    channels: learned,
    asInUse: [...asInUse, ...used.asInUse],
    missing: [...missing, ...used.missing],
  };
}

function seeEnds(rows: UsedRows, channel: Channel, i: number): Seen | Unlearned {
  const levels = smoothed(rows.counts[i]);
  const range = quantile(levels, 0.99) - quantile(levels, 0.01);
  const { role } = channel;
  if (range < NO_RANGE * channel.lookup.maxCounts)
    return { role, missing: 'motion', says: `${role}: did not move.` };
  const [lows, highs] = visitsOf(levels, range);
  const low = endAt(lows, -1, range);
  const high = endAt(highs, 1, range);
  if (low && high && high.level > low.level) return { i, channel, levels, low, high };
  const upwards = channel.closed >= channel.open;
  return notSeen(role, (low === undefined) === upwards ? 'open' : 'closed', 1);
}

function lackingEvidence(
  { one: { channel }, open, closed, turned }: Oriented,
  closing: ClosingProfile,
  fitted: boolean,
  sure: { open: boolean; closed: boolean },
): Unlearned | undefined {
  const { role } = channel;
  const [openInUse, closedInUse] = endsInUse(channel, closing);
  const span = Math.abs(closed.level - open.level);
  const near = (a: number, b: number) => fitted && !turned && Math.abs(a - b) <= AS_IN_USE * span;
  for (const [end, name, inUse] of [
    [open, 'open', openInUse],
    [closed, 'closed', closedInUse],
  ] as const) {
    if (end.visits.length < LEAST_POSES) return notSeen(role, name, end.visits.length);
    if (!sure[name] && !near(end.level, inUse)) return doubtful(role, name);
  }
  const least = fitted ? SHORTER_THAN_FIT : SHORTER_THAN_SAID;
  if (span >= least * Math.abs(closedInUse - openInUse)) return undefined;
  return {
    role,
    missing: 'reach',
    says: `${role}: went over a good deal less than the range in use; open the hand flat and make a full fist.`,
  };
}

/** @returns also how far its ends are from those in use, in standard deviations of what chance does if those are right */
function propose(
  channel: Channel,
  closing: ClosingProfile,
  open: End,
  closed: End,
  seen: Shape,
  turned: boolean,
  fitted: boolean,
): { proposal: LearnedChannel; beyondChance: number } {
  const known = knownShape(channel, closing);
  const inUse = endsInUse(channel, closing);
  const knows = fitted && !turned;
  const shape = knows ? withShapeInUse(channel, closing, seen) : seen;
  const ends = endsOf(open, closed, knows ? inUse : undefined);
  const span = ends.closed - ends.open;
  const ahead = CURVE_AT.map((at) => shape.aheadAt(at));
  const greatest = Math.sqrt(ahead.reduce((sum, d) => sum + d * d, 0) / ahead.length);
  const isStraight = greatest < STRAIGHT && channel.profile.curve === undefined;
  const points = isStraight ? undefined : rising(CURVE_AT.map((at, k) => known(at) + ahead[k]));
  const widest = widestDeg(channel, closing);
  // An error of one end fades towards the other: over the range, a third of its square.
  const endsPart = Math.hypot(ends.openSd, ends.closedSd) / Math.abs(span) / Math.sqrt(3);
  const range = rangeOf(channel, closing, ends, points);
  const whole = points ?? CURVE_AT.map(known);
  const grid = [[0, 0], ...CURVE_AT.map((at, k) => [at, whole[k]]), [1, 1]];
  const lookups = joinLookups([channel.lookup]);
  const differences = grid.map(([at, part]) => {
    const counts = Math.round(ends.open + part * span);
    return lookAt(lookups, 0, Math.max(0, counts)) - valueAt(channel, closing, at);
  });
  const rms = Math.sqrt(differences.reduce((sum, d) => sum + d * d, 0) / differences.length);
  return {
    proposal: {
      role: channel.role,
      bits: channel.profile.bits,
      ...range,
      poses: open.visits.length + closed.visits.length,
      uncertaintyDeg: Math.hypot(endsPart, shape.sd) * widest,
      differsDeg: rms * widestOfValue(channel, closing, widest),
      turned,
    },
    beyondChance: beyondChanceOf(open, closed, inUse),
  };
}

/**
 * A fit in use knows the shape as well, from a wearer who followed a bar: the two are taken for what each is worth. A slip
 * moves the ends and leaves the shape.
 */
function withShapeInUse(channel: Channel, closing: ClosingProfile, seen: Shape): Shape {
  const known = knownShape(channel, closing);
  const [openInUse, closedInUse] = endsInUse(channel, closing);
  const lookups = joinLookups([channel.lookup]);
  // Part of the counts at which what is in use says that so much of the closing is done.
  const partAt = (at: number): number => {
    const value = valueAt(channel, closing, at);
    let low = 0;
    let high = 1;
    for (let n = 0; n < 20; n++) {
      const middle = (low + high) / 2;
      const counts = Math.max(0, Math.round(openInUse + middle * (closedInUse - openInUse)));
      if (lookAt(lookups, 0, counts) < value) low = middle;
      else high = middle;
    }
    return (low + high) / 2;
  };
  const inUse = CURVE_AT.map((at) => partAt(at) - known(at));
  const seenPart = FITTED_SHAPE ** 2 / (FITTED_SHAPE ** 2 + seen.sd ** 2);
  return {
    aheadAt(at) {
      const k = (CURVE_AT as readonly number[]).indexOf(at);
      return seenPart * seen.aheadAt(at) + (1 - seenPart) * inUse[k];
    },
    sd: Math.sqrt(seenPart) * seen.sd,
  };
}

/** The value of a channel at a part of the closing: of a joint, a part of the joint's whole range. */
function valueAt(channel: Channel, closing: ClosingProfile, at: number): number {
  if (channel.kind !== 'joint') return at;
  const { low, high } = jointEnds(channel, closing);
  return low + knownShape(channel, closing)(at) * (high - low);
}

function jointEnds(channel: Channel, closing: ClosingProfile): { low: number; high: number } {
  const { open, closed } = rangeOf(channel, closing, { open: 0, closed: 1 }, undefined);
  return { low: -open / (closed - open), high: (1 - open) / (closed - open) };
}

/** Counts of the open and of the closed hand by what is in use. */
function endsInUse(channel: Channel, closing: ClosingProfile): [number, number] {
  const { kind, open, closed } = channel;
  if (kind !== 'joint') return [open, closed];
  const { low, high } = jointEnds(channel, closing);
  return [open + low * (closed - open), open + high * (closed - open)];
}

const widestOfValue = (channel: Channel, closing: ClosingProfile, widest: number): number => {
  if (channel.kind !== 'joint') return widest;
  const { low, high } = jointEnds(channel, closing);
  return widest / (high - low);
};

const STEPS = 128;
/** Part of the closing at a part of the range; beyond the ends it goes on straight. */
function inverseOf(known: (at: number) => number): (part: number) => number {
  const parts = Float64Array.from({ length: STEPS + 1 }, (_, k) => known(k / STEPS));
  return (part) => {
    if (part <= 0) return part;
    if (part >= 1) return part;
    let low = 0;
    let high = STEPS;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (parts[middle] <= part) low = middle;
      else high = middle;
    }
    const width = parts[high] - parts[low];
    return (low + (width > 0 ? (part - parts[low]) / width : 0)) / STEPS;
  };
}

/** Medians of three: no spike of one row. */
function smoothed(counts: Uint16Array): Float64Array {
  const levels = Float64Array.from(counts);
  for (let k = 1; k + 1 < counts.length; k++) {
    const [a, b, c] = [counts[k - 1], counts[k], counts[k + 1]];
    levels[k] = Math.max(Math.min(a, b), Math.min(Math.max(a, b), c));
  }
  return levels;
}
