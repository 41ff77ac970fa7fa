import type { ChannelRole } from '../../protocol/link-table.js';
import type { Channel } from '../../sensing/channels.js';
import { MAD_TO_SD, median, quantile } from '../move-statistics.js';
import { isControl } from '../moves.js';
import { ROW_S, type UsedRows } from './use-record.js';
import { type Visit, visitsOf } from './visits.js';

/**
 * The range of sticks and triggers from how they are used. They are sprung: where they stay whenever nobody pushes them is
 * their rest, and how far apart those stays are says how wide the dead zone must be. Ends are where they were pushed
 * to and held, several times, at the same place.
 */
export interface LearnedControl {
  readonly role: ChannelRole;
  readonly bits: number;
  readonly open: number;
  readonly closed: number;
  /** Of a stick. */
  readonly centre?: number;
  readonly poses: number;
  /** Greatest difference of an end or the centre from what is in use, and one standard deviation of it: parts of the way. */
  readonly differsPart: number;
  readonly uncertaintyPart: number;
}

export interface LearnedControls {
  /** To be proposed. */
  readonly controls: readonly LearnedControl[];
  /** A dead zone of the stick that fits how it comes to rest, where the one in use does not: part of its travel. */
  readonly stickDeadZone?: number;
  readonly asInUse: readonly ChannelRole[];
  readonly missing: readonly { role: ChannelRole; missing: 'motion' | 'rest' | 'ends'; says: string }[];
}

export interface ControlsInUse {
  readonly channels: readonly Channel[];
  readonly fitted: readonly boolean[];
  readonly faulty: readonly boolean[];
  readonly stickDeadZone: number;
}

const NO_RANGE = 0.03;
/** A stay is still for so long, s, within this part of the range. */
const STAY_S = 0.3;
const STILL = 0.015;
/** Stays so near to one another are of one place. */
const PLACE = 0.12;
/** Returns to rest, without which it is not known. */
const LEAST_RETURNS = 4;
/** Pushes to an end, likewise. */
const LEAST_PUSHES = 3;
/** What is in use is left alone unless it is off by more than this part of the way, and by so many standard deviations. */
const LEAST_PART = 0.03;
const DIFFERS_FROM_FIT = 3;
const DIFFERS_FROM_SAID = 2;
/** The dead zone is so much wider than the stays are apart; never narrower or wider than these. */
const ROOM = 1.3;
const NARROWEST = 0.05;
const WIDEST = 0.4;
/** A dead zone in use is left alone while it covers the stays and is no wider than so many times what it takes. */
const TOO_WIDE = 3;

export function learnControls(rows: UsedRows, inUse: ControlsInUse): LearnedControls {
  const controls: LearnedControl[] = [];
  const asInUse: ChannelRole[] = [];
  const missing: LearnedControls['missing'][number][] = [];
  let scatter = 0;
  let sticks = 0;
  let seen = 0;
  for (const [i, channel] of inUse.channels.entries()) {
    const { role, kind } = channel;
    if (channel.source < 0 || !isControl(channel) || inUse.faulty[i]) continue;
    if (kind === 'stick') sticks++;
    const found = learnOne(rows.counts[i], channel);
    if (kind === 'stick' && found.scatterPart !== undefined) {
      seen++;
      scatter = Math.hypot(scatter, found.scatterPart);
    }
    if ('says' in found) {
      missing.push({ role, missing: found.missing, says: found.says });
      continue;
    }
    const { control } = found;
    const times = inUse.fitted[i] ? DIFFERS_FROM_FIT : DIFFERS_FROM_SAID;
    if (control.differsPart > Math.max(LEAST_PART, times * control.uncertaintyPart)) controls.push(control);
    else asInUse.push(role);
  }
  const needed = Math.min(WIDEST, Math.max(NARROWEST, ROOM * scatter));
  const suits = inUse.stickDeadZone >= needed / ROOM && inUse.stickDeadZone <= TOO_WIDE * needed;
  const told = sticks > 0 && seen === sticks && !suits;
  return { controls, asInUse, missing, ...(told ? { stickDeadZone: Math.ceil(needed * 100) / 100 } : {}) };
}

type Found =
  // How far it comes to rest from its centre, in 19 of 20 returns.
  | { control: LearnedControl; scatterPart?: number }
  | { missing: 'motion' | 'rest' | 'ends'; says: string; scatterPart?: number };

function learnOne(counts: Uint16Array, channel: Channel): Found {
  const { role, kind, lookup } = channel;
  const levels = Float64Array.from(counts);
  const range = quantile(levels, 0.995) - quantile(levels, 0.005);
  if (!(range >= NO_RANGE * lookup.maxCounts))
    return { missing: 'motion', says: `${role}: was not used so far.` };
  const returns = returnsToRest(levels, range);
  if (returns.length < LEAST_RETURNS)
    return { missing: 'rest', says: `${role}: let go of it now and then, so that it comes to rest.` };
  const rest = median(returns);
  const spread = MAD_TO_SD * median(returns.map((level) => Math.abs(level - rest)));
  if (!isSprung(rest, levels, range, channel)) {
    return { missing: 'rest', says: `${role}: where it rests is not clear; let go of it more often.` };
  }
  const restSd = Math.hypot(spread / Math.sqrt(returns.length), SUREST * range);
  const [lows, highs] = visitsOf(levels, range);
  const low = pushedTo(lows, -1, range, rest, quantile(levels, 0.005));
  const high = pushedTo(highs, 1, range, rest, quantile(levels, 0.995));
  const isStick = kind === 'stick';
  const upwards = channel.closed >= channel.open;
  const pressed = isStick ? undefined : upwards ? high : low;
  if (isStick ? !low || !high : !pressed) {
    const what = isStick ? 'push it all the way to each side' : 'press it all the way';
    return {
      missing: 'ends',
      says: `${role}: ${what} a few times, and keep it there for a moment.`,
      ...(isStick ? { scatterPart: (4 * spread) / range } : {}),
    };
  }
  const bits = channel.profile.bits;
  if (isStick) {
    const [from, to] = upwards ? [low!, high!] : [high!, low!];
    const half = Math.abs(to.level - from.level) / 2;
    const centre = channel.profile.centre ?? (channel.open + channel.closed) / 2;
    const off = [from.level - channel.open, to.level - channel.closed, rest - centre];
    return {
      // Robustly: what is left reads as a push, and is what the dead zone is for.
      scatterPart: (2 * spread) / half,
      control: {
        role,
        bits,
        open: from.level,
        closed: to.level,
        centre: rest,
        poses: from.pushes + to.pushes,
        differsPart: greatest(off) / half,
        uncertaintyPart: Math.max(from.sd, to.sd, restSd) / half,
      },
    };
  }
  const way = Math.abs(pressed!.level - rest);
  const off = [rest - channel.open, pressed!.level - channel.closed];
  return {
    scatterPart: 0,
    control: {
      role,
      bits,
      open: rest,
      closed: pressed!.level,
      poses: pressed!.pushes,
      differsPart: greatest(off) / way,
      uncertaintyPart: Math.max(pressed!.sd, restSd) / way,
    },
  };
}

/** What gives in a stop, and friction on the way back: nothing is ever surer than this part of the range. */
const SUREST = 0.004;
const greatest = (values: readonly number[]): number => Math.max(...values.map(Math.abs));

interface Stay {
  readonly from: number;
  readonly to: number;
  readonly level: number;
}

/** Stretches in which it stood still. */
function staysOf(levels: Float64Array, range: number): Stay[] {
  const stays: Stay[] = [];
  const least = Math.round(STAY_S / ROW_S);
  let from = 0;
  let low = levels[0];
  let high = levels[0];
  for (let k = 1; k <= levels.length; k++) {
    const y = levels[k];
    if (k < levels.length && Math.max(high, y) - Math.min(low, y) <= 2 * STILL * range) {
      low = Math.min(low, y);
      high = Math.max(high, y);
      continue;
    }
    if (k - from >= least) stays.push({ from, to: k, level: median(levels.slice(from, k)) });
    from = k;
    low = y;
    high = y;
  }
  return stays;
}

/** One level for each time that it came back to where it spends most of its time. */
function returnsToRest(levels: Float64Array, range: number): number[] {
  const stays = staysOf(levels, range);
  const near = (a: number, b: number) => Math.abs(a - b) <= PLACE * range;
  let rest = Number.NaN;
  let most = 0;
  for (const { level } of stays) {
    const same = stays.filter((one) => near(one.level, level));
    const rows = same.reduce((sum, { from, to }) => sum + to - from, 0);
    if (rows <= most) continue;
    most = rows;
    rest = median(same.map((one) => one.level));
  }
  const returns: number[] = [];
  // Pieces of one long stay count once: in between it has to have been away.
  let last = 0;
  for (const { from, to, level } of stays) {
    if (!near(level, rest)) continue;
    const first = returns.length === 0;
    if (first || levels.subarray(last, from).some((y) => !near(y, rest))) returns.push(level);
    last = to;
  }
  return returns;
}

/** Whoever keeps a stick pushed, or a trigger pressed, most of the time makes that look like its rest. */
function isSprung(
  rest: number,
  levels: Float64Array,
  range: number,
  { kind, open, closed }: Channel,
): boolean {
  const low = quantile(levels, 0.005);
  const part = (rest - low) / range;
  if (kind === 'stick') return part > 0.5 - INSIDE && part < 0.5 + INSIDE;
  return closed >= open ? part < AT_ITS_END : part > 1 - AT_ITS_END;
}

/** A stick rests so near to the middle of its way, a trigger so near to its end: parts of the way. */
const INSIDE = 0.25;
const AT_ITS_END = 0.2;

/** A push goes at least this part of the way to the farthest that was seen: turning round at rest is none. */
const FAR = 0.6;

/** An end is a hard stop: pushes to it agree to this part of the range, and nothing goes beyond it by more than that. */
const AT_STOP = 0.02;

interface Stop {
  readonly level: number;
  readonly sd: number;
  readonly pushes: number;
}

function pushedTo(
  visits: readonly Visit[],
  side: 1 | -1,
  range: number,
  rest: number,
  farthest: number,
): Stop | undefined {
  const pushes = visits.filter(({ level }) => side * (level - rest) > FAR * side * (farthest - rest));
  if (pushes.length === 0) return undefined;
  const outermost = Math.max(...pushes.map(({ level }) => side * level));
  const at = pushes.filter(({ level, held }) => held && outermost - side * level <= AT_STOP * range);
  if (at.length < LEAST_PUSHES) return undefined;
  const level = median(at.map((one) => one.level));
  const spread = MAD_TO_SD * median(at.map((one) => Math.abs(one.level - level)));
  return {
    level,
    sd: Math.hypot(spread / Math.sqrt(at.length), SUREST * range),
    pushes: at.length,
  };
}
