import { FINGERS } from '../../hand/joints.js';
import type { ChannelRole } from '../../protocol/link-table.js';
import type { MoveRecord } from '../move-record.js';
import { median, noiseOf, numbered, quantile, type Trace, traceOf } from '../move-statistics.js';

/**
 * What columns of numbers sense, from a record of namingMoves and furtherMoves: the finger that alone moves a column most
 * is its finger; what answers more to spreading than to closing is a splay; what moves in the controls move alone is a
 * stick, a trigger or the buttons.
 */
export interface NamedColumn {
  readonly role: ChannelRole | 'buttons' | 'skip';
  readonly open: number;
  readonly closed: number;
  readonly centre?: number;
  /** What was guessed, for the owner to look at. */
  readonly note?: string;
}

/** Part of the converter, and times the noise, that is an answer. */
const ANSWER = 0.02;
const ANSWER_NOISE = 8;
const STRETCH_S = 0.04;
/** Values that a field of button bits takes, at most. */
const BUTTON_VALUES = 12;
/** A stick rests this far from both its ends, part of its way. */
const MIDDLE = 0.2;

interface Answer {
  /** To each finger alone, closing and sideways; NaN: not asked for. */
  lone: number[];
  sideways: number[];
  roof: number;
  hook: number;
  together: number;
  spread: number;
  rest: number;
  /** In the controls move: ends, and whether it takes few values. */
  low: number;
  high: number;
  few: boolean;
  least: number;
}

type Kind = 'bend' | 'splay' | 'control' | 'buttons' | 'none';

/** Bits of the converter that all columns share: the fewest usual ones that hold the greatest count. */
export function bitsOf(greatest: number): number {
  return [10, 12, 14, 16].find((bits) => greatest < 2 ** bits) ?? 16;
}

/** What is left to be asked before all columns can be named. */
export function openQuestions(record: MoveRecord, bits: number): { joints: boolean; sideways: boolean } {
  const kinds = answersOf(record, bits).map(kindOf);
  const bends = FINGERS.map(
    (_, f) => kinds.filter(({ kind, finger }) => kind === 'bend' && finger === f).length,
  );
  return {
    joints: bends.some((count, f) => f > 0 && count > 1),
    sideways: kinds.some(({ kind }) => kind === 'splay'),
  };
}

export function nameColumns(record: MoveRecord, bits: number): NamedColumn[] {
  const answers = answersOf(record, bits);
  const kinds = answers.map(kindOf);
  const named: NamedColumn[] = answers.map(({ rest }) => ({ role: 'skip', open: rest, closed: rest }));
  for (const [f, finger] of FINGERS.entries()) {
    const bends = indicesOf(kinds, ({ kind, finger: own }) => kind === 'bend' && own === f);
    for (const [i, role, note] of jointsOf(finger, bends, answers)) {
      const { rest, lone } = answers[i];
      named[i] = { role, open: rest, closed: rest + lone[f], ...(note ? { note } : {}) };
    }
    const splays = indicesOf(kinds, ({ kind, finger: own }) => kind === 'splay' && own === f);
    const [first] = splays.sort((a, b) => Math.abs(answers[b].spread) - Math.abs(answers[a].spread));
    if (first !== undefined) named[first] = splayOf(`${finger}.splay`, answers[first]);
  }
  const sticks = indicesOf(kinds, ({ kind }, i) => kind === 'control' && isStick(answers[i]));
  for (const [k, role] of (['stick.x', 'stick.y'] as const).entries()) {
    const i = sticks[k];
    if (i === undefined) continue;
    const { low, high, rest } = answers[i];
    named[i] = {
      role,
      open: low,
      closed: high,
      centre: rest,
      note: 'x and y by order; swap them, or open and closed, if it goes the wrong way',
    };
  }
  const triggers = indicesOf(kinds, ({ kind }, i) => kind === 'control' && !isStick(answers[i]));
  for (const [k, role] of (['trigger', 'squeeze'] as const).entries()) {
    const i = triggers[k];
    if (i === undefined) continue;
    const { low, high, rest } = answers[i];
    named[i] = { role, open: rest, closed: high - rest >= rest - low ? high : low, note: 'by order' };
  }
  const [buttons] = indicesOf(kinds, ({ kind }) => kind === 'buttons');
  if (buttons !== undefined) named[buttons] = { role: 'buttons', open: 0, closed: 0 };
  return named;
}

function jointsOf(
  finger: (typeof FINGERS)[number],
  columns: number[],
  answers: readonly Answer[],
): [number, ChannelRole, string?][] {
  if (columns.length === 0) return [];
  if (columns.length === 1) return [[columns[0], `${finger}.curl`]];
  const knuckleFirst = (i: number) => Math.abs(answers[i].hook) - Math.abs(answers[i].roof);
  const ordered =
    finger === 'thumb' ? columns : columns.toSorted((a, b) => knuckleFirst(a) - knuckleFirst(b));
  // Those beyond the knuckle bend together: their order is that of the columns.
  const [first, ...rest] = ordered;
  const order = finger === 'thumb' ? ordered : [first, ...rest.sort((a, b) => a - b)];
  const roles: ChannelRole[] =
    finger === 'thumb'
      ? order.length > 2
        ? ['thumb.cmc', 'thumb.mcp', 'thumb.ip']
        : ['thumb.mcp', 'thumb.ip']
      : [`${finger}.mcp`, `${finger}.pip`, `${finger}.dip`];
  const guessed = finger === 'thumb' || order.length > 2;
  return order
    .slice(0, 3)
    .map((i, k) => [i, roles[k], guessed && (finger === 'thumb' || k > 0) ? 'joint by order' : undefined]);
}

function splayOf(role: ChannelRole, { together, spread, rest }: Answer): NamedColumn {
  const closed = together + spread;
  const inside = (rest - together) * (rest - closed) < 0;
  return { role, open: together, closed, ...(inside ? { centre: rest } : {}) };
}

function isStick({ low, high, rest }: Answer): boolean {
  const way = high - low;
  return rest - low > MIDDLE * way && high - rest > MIDDLE * way;
}

function kindOf(answer: Answer): { kind: Kind; finger: number } {
  const { lone, sideways, spread, low, high, least, few } = answer;
  const strongest = (values: readonly number[]) => {
    const sizes = values.map((value) => (Number.isNaN(value) ? 0 : Math.abs(value)));
    const most = Math.max(...sizes);
    return { most, finger: sizes.indexOf(most) };
  };
  const bend = strongest(lone);
  const side = strongest(sideways);
  const aside = Math.max(Math.abs(spread) || 0, side.most);
  if (bend.most > least && bend.most >= aside) return { kind: 'bend', finger: bend.finger };
  if (aside > least) return { kind: 'splay', finger: side.most > least ? side.finger : -1 };
  if (few && high > low) return { kind: 'buttons', finger: -1 };
  return { kind: high - low > least ? 'control' : 'none', finger: -1 };
}

const indicesOf = <T>(list: readonly T[], test: (item: T, index: number) => boolean): number[] =>
  list.flatMap((item, i) => (test(item, i) ? [i] : []));

function answersOf(record: MoveRecord, bits: number): Answer[] {
  const trace = traceOf(record, STRETCH_S);
  return Array.from({ length: record.channels }, (_, i) => answerOf(record, trace, i, 2 ** bits - 1));
}

function answerOf(record: MoveRecord, trace: Trace, i: number, full: number): Answer {
  const levels = trace.levels[i];
  const none = () => FINGERS.map(() => Number.NaN);
  const answer: Answer = {
    lone: none(),
    sideways: none(),
    roof: Number.NaN,
    hook: Number.NaN,
    together: Number.NaN,
    spread: Number.NaN,
    rest: Number.NaN,
    low: 0,
    high: 0,
    few: false,
    least: Math.max(ANSWER * full, ANSWER_NOISE * noiseOf(record.column(i))),
  };
  const bases: number[] = [];
  for (const [m, { move, from, to }] of numbered(record)) {
    const own = levels.subarray(trace.moveStart[m], trace.moveStart[m + 1]);
    if (own.length < 3) continue;
    const before = median(own.subarray(0, 5));
    const after = median(own.subarray(Math.max(0, own.length - 5)));
    if (move.kind === 'lone') {
      bases.push(before);
      const values = move.sideways ? answer.sideways : answer.lone;
      values[move.finger as number] = farthest(own, before, after);
    } else if (move.name === 'rest') bases.push(median(own));
    else if (move.name === 'roof') answer.roof = after - before;
    else if (move.name === 'hook') answer.hook = after - before;
    else if (move.name === 'together') answer.together = after;
    else if (move.name === 'spread') answer.spread = after - before;
    else if (move.name === 'controls') {
      answer.low = quantile(own, 0.01);
      answer.high = quantile(own, 0.99);
      answer.few = new Set(record.column(i).subarray(from, to)).size <= BUTTON_VALUES;
    }
  }
  answer.rest = median(bases);
  return answer;
}

/** Signed; from the straight line between the level before and the one after. */
function farthest(levels: Float64Array, before: number, after: number): number {
  const away = Float64Array.from(
    levels,
    (level, k) => level - before - ((after - before) * k) / Math.max(1, levels.length - 1),
  );
  const high = quantile(away, 0.97);
  const low = quantile(away, 0.03);
  return high > -low ? high : low;
}
