import { FINGERS } from '../hand/joints.js';
import type { Channel, ChannelKind } from '../sensing/channels.js';
import type { MoveRecord } from './move-record.js';
import { median, numbered, quantile, type Trace } from './move-statistics.js';
import { isControl, type MoveName } from './moves.js';

/** How each channel responded to the moves of a check. */

/** Response below which a channel has not moved, part of the converter. */
export const NO_RESPONSE = 0.015;
/** Length of the stretches of the trace. */
export const STRETCH_S = 0.04;
/** The pose before a move: the wearer has not begun yet. */
const BEFORE_S = 0.2;

export const answersOf = (record: MoveRecord, trace: Trace, channels: readonly Channel[]): Answers[] =>
  channels.map((channel, i) => answersOfOne(record, trace, channel, i));

/** The move that takes a channel through its whole range. */
const WHOLE_MOVE: Partial<Record<ChannelKind, MoveName>> = { curl: 'fist', joint: 'fist', splay: 'spread' };

/** What a channel does, in parts of the converter; positive towards its `closed`. */
export interface Answers {
  /** To each finger alone; NaN when that move was not asked for. */
  readonly lone: Float64Array;
  /** The same while the other hand held the other fingers straight. */
  readonly held: Float64Array;
  /** To the roof (knuckles bent, fingers straight) and to the hook (the reverse); NaN when not asked for. */
  readonly roof: number;
  readonly hook: number;
  /** To the fist, to spreading, or the whole way of a control. */
  readonly whole: number;
  /** Levels before each move from the open hand, for drift. */
  readonly base: readonly { atS: number; level: number }[];
}

function answersOfOne(record: MoveRecord, trace: Trace, channel: Channel, i: number): Answers {
  const { lookup, open, closed } = channel;
  const part = (closed < open ? -1 : 1) / lookup.maxCounts;
  const levels = trace.levels[i];
  const lone = new Float64Array(FINGERS.length).fill(Number.NaN);
  const held = new Float64Array(FINGERS.length).fill(Number.NaN);
  let roof = Number.NaN;
  let hook = Number.NaN;
  const base: { atS: number; level: number }[] = [];
  const wholes: number[] = [];
  for (const [m, { move }] of numbered(record)) {
    const from = trace.moveStart[m];
    const to = trace.moveStart[m + 1];
    if (to - from < 3) continue;
    const before = median(levels.subarray(from, from + Math.max(1, Math.round(BEFORE_S / STRETCH_S))));
    const after = median(levels.subarray(Math.max(from, to - 5), to));
    const own = levels.subarray(from, to);
    if (move.kind === 'lone') {
      base.push({ atS: trace.timesS[from], level: before });
      const answer = part * farthestFromLine(own, before, after);
      (move.othersHeld ? held : lone)[move.finger as number] = answer;
    } else if (move.name === 'rest' || move.name === 'open') {
      base.push({ atS: trace.timesS[to - 1], level: after });
    } else if (move.name === 'roof') {
      roof = part * (after - before);
    } else if (move.name === 'hook') {
      hook = part * (after - before);
    } else if (move.name === WHOLE_MOVE[channel.kind]) {
      wholes.push(part * (after - before));
    } else if (move.name === 'controls' && isControl(channel)) {
      wholes.push((quantile(own, 0.98) - quantile(own, 0.02)) / lookup.maxCounts);
    }
  }
  const whole = wholes.length > 0 ? median(wholes) : Number.NaN;
  return { lone, held, roof, hook, whole, base };
}

/** Largest signed distance of the levels from the straight line between two others, ignoring single stretches. */
function farthestFromLine(levels: Float64Array, first: number, last: number): number {
  const away = Float64Array.from(
    levels,
    (level, k) => level - first - ((last - first) * k) / Math.max(1, levels.length - 1),
  );
  const high = quantile(away, 0.97);
  const low = quantile(away, 0.03);
  return high > -low ? high : low;
}
