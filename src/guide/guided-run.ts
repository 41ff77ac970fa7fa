import type { Channel } from '../sensing/channels.js';
import { createMoveRecord, type MoveRecord } from './move-record.js';
import type { Move } from './moves.js';

/**
 * Leads a wearer through moves and records what the channels say: a state machine over samples, with no clock of
 * its own. A move is over when it was seen to be made, when the wearer says so (`next`), or after a while without
 * anything to be seen, as with a dead sensor.
 */
export interface GuidedRun {
  readonly record: MoveRecord;
  readonly moves: readonly Move[];
  /** Index of the present move; moves.length when all are made. */
  readonly at: number;
  readonly finished: boolean;
  /** It was ended because nothing moved in the first moves: nobody wears the glove, or none of its sensors works. */
  readonly abandoned: boolean;
  /** How far the bar of a `follow` move is closed now, 0..1; undefined for other moves. */
  readonly bar: number | undefined;
  /** Part of the present move done, 0..1, as far as it can be known. */
  readonly part: number;
  /** One sample. @param timeS device or host time, s, rising @param buttons bits: pressing one is a motion of a sweep */
  sample(counts: ArrayLike<number>, timeS: number, buttons?: number): void;
  /** The present move is made: go on. */
  next(): void;
}

/** What a run needs to know of a channel. */
export type WatchedChannel = Pick<Channel, 'source' | 'kind' | 'finger'> & {
  readonly lookup: Pick<Channel['lookup'], 'maxCounts'>;
};

/** Counts are looked at in blocks of this length: long enough to average noise, short against any motion. */
const BLOCK_S = 0.02;
/** A pose is held when nothing moved for this long. */
const HELD_S = 0.6;
const REST_S = 2;
/** Time to read and to begin. */
const READ_S = 0.35;
/** A lone finger is straight again when it has been still for this long. */
const BACK_S = 0.4;
const SWEEP_S = 5;
/** Without anything to be seen, a move is given up after this. */
const GIVE_UP_S = 10;
/** Moves in a row that are given up before anything has moved at all. */
const MOST_UNMOVED = 2;
/** Parts of the converter: what counts as a move, and as keeping still. */
const MOVED = 0.015;
const STILL = 0.008;
/** No finger makes a step of this part of the converter between two samples, nor moves at this part a second. */
export const JUMP_STEP = 0.05;
export const FASTEST_PER_S = 20;
/** One spike makes two. */
const JUMPS = 3;
/** The bar of `follow`: wait, close, stay, open, s. */
export const FOLLOW = { waitS: 1.2, rampS: 3.5, stayS: 1 } as const;
const FOLLOW_S = FOLLOW.waitS + 2 * FOLLOW.rampS + FOLLOW.stayS + 0.4;

const WINDOW = Math.round(HELD_S / BLOCK_S);

/**
 * @param channels those that the record shall hold, in its order
 * @param more asked once, after the last of `moves`: what else to ask for, from what was recorded
 */
export function createGuidedRun(
  channels: readonly WatchedChannel[],
  first: readonly Move[],
  more?: (record: MoveRecord) => readonly Move[],
): GuidedRun {
  const moves = [...first];
  const n = channels.length;
  const record = createMoveRecord(n);
  const full = Float64Array.from(channels, (c) => c.lookup.maxCounts);
  const watched = channels.flatMap((c, i) => (c.source >= 0 && c.kind !== 'wrist' ? [i] : []));
  // Ring of block means, WINDOW of them per channel.
  const ring = new Float64Array(n * WINDOW);
  const sum = new Float64Array(n);
  const mean = new Float64Array(n);
  const startedAt = new Float64Array(n);
  const reach = new Float64Array(n);
  /** Channels that move while the hand rests, or jump, tell nothing of the hand. */
  const wild = new Uint8Array(n);
  const last = new Float64Array(n);
  const jumps = new Uint8Array(n);
  let at = 0;
  let blocks = 0;
  let blockSamples = 0;
  let blockStartS = Number.NaN;
  let moveStartS = Number.NaN;
  let nowS = Number.NaN;
  let moveBlocks = 0;
  let moving = false;
  let movedAtS = Number.NaN;
  let lastButtons = 0;
  let touched = false;
  let stillS = 0;
  let finished = moves.length === 0;
  let everMoved = false;
  let unmoved = 0;
  let abandoned = false;

  if (!finished) record.begin(moves[0]);

  function goOn(made: boolean): void {
    if (finished) return;
    record.moves[at].made = made;
    if (!made && !everMoved && ++unmoved >= MOST_UNMOVED) {
      abandoned = true;
      finished = true;
      return;
    }
    if (moves[at].name === 'rest') {
      for (const i of watched) if (rangeOf(i, Math.min(blocks, WINDOW)) > 1.2 * STILL * full[i]) wild[i] = 1;
    }
    at++;
    if (at === first.length && more) moves.push(...more(record));
    finished = at >= moves.length;
    if (finished) return;
    record.begin(moves[at]);
    moveStartS = nowS;
    moveBlocks = 0;
    moving = false;
    touched = false;
    movedAtS = Number.NaN;
    stillS = 0;
  }

  /** Greatest difference of the last blocks of a channel. */
  function rangeOf(i: number, count: number): number {
    let low = Number.POSITIVE_INFINITY;
    let high = Number.NEGATIVE_INFINITY;
    for (let k = 1; k <= count; k++) {
      const value = ring[i * WINDOW + ((blocks - k + 2 * WINDOW) % WINDOW)];
      if (value < low) low = value;
      if (value > high) high = value;
    }
    return high - low;
  }

  /** Whether nothing but perhaps one faulty channel moved over the last blocks, and nothing of that finger at all. */
  function isStill(finger?: number): boolean {
    const count = Math.min(blocks, Math.round(0.2 / BLOCK_S));
    let restless = 0;
    let trusted = 0;
    for (const i of watched) {
      if (wild[i] !== 0) continue;
      trusted++;
      if (rangeOf(i, count) <= STILL * full[i]) continue;
      if (channels[i].finger === finger) return false;
      restless++;
    }
    return trusted > 0 && restless <= Math.floor(trusted / 5);
  }

  function endBlock(): void {
    let travelled = 0;
    let back = true;
    for (const i of watched) {
      mean[i] = sum[i] / blockSamples;
      sum[i] = 0;
      ring[i * WINDOW + (blocks % WINDOW)] = mean[i];
      if (moveBlocks === 0) {
        startedAt[i] = mean[i];
        reach[i] = 0;
      }
      if (wild[i] !== 0) continue;
      const away = Math.abs(mean[i] - startedAt[i]);
      if (away > reach[i]) reach[i] = away;
      // What went farthest tells whether it is back: fingers that only followed settle where they like.
      if (reach[i] / full[i] <= travelled) continue;
      travelled = reach[i] / full[i];
      back = away <= 0.4 * reach[i];
    }
    blocks++;
    moveBlocks++;
    blockSamples = 0;
    const sinceS = nowS - moveStartS;
    moving = moving || travelled > MOVED || (touched && moves[at].kind === 'sweep');
    if (moving && Number.isNaN(movedAtS)) movedAtS = nowS;
    if (moving && moves[at].name !== 'rest') everMoved = true;
    const { kind, name, finger } = moves[at];
    stillS = isStill(finger) ? stillS + BLOCK_S : 0;
    const begins = at === 0;
    if (name === 'rest') {
      if (sinceS >= REST_S && (stillS >= 0.5 || sinceS >= 2 * REST_S)) goOn(true);
    } else if (kind === 'follow') {
      if (sinceS >= FOLLOW_S) goOn(true);
    } else if (kind === 'sweep') {
      if (moving && nowS - movedAtS >= (moves[at].sweepS ?? SWEEP_S)) goOn(true);
      else if (sinceS >= GIVE_UP_S) goOn(false);
    } else if (kind === 'hold') {
      const posed = (moving || (begins && sinceS > 3 * READ_S)) && sinceS > READ_S;
      if (posed && stillS >= HELD_S) goOn(true);
      else if (sinceS >= GIVE_UP_S) goOn(false);
    } else if (moving && back && stillS >= BACK_S && nowS - movedAtS > READ_S) goOn(true);
    else if (sinceS >= GIVE_UP_S) goOn(false);
  }

  const bar = (): number | undefined => {
    if (finished || moves[at].kind !== 'follow') return undefined;
    return barAt(Number.isNaN(moveStartS) ? 0 : nowS - moveStartS);
  };

  return {
    record,
    moves,
    get at() {
      return at;
    },
    get finished() {
      return finished;
    },
    get abandoned() {
      return abandoned;
    },
    get bar() {
      return bar();
    },
    get part() {
      if (finished) return 1;
      if (Number.isNaN(moveStartS)) return 0;
      const { kind, name } = moves[at];
      const sinceS = nowS - moveStartS;
      if (name === 'rest') return Math.min(1, sinceS / REST_S);
      if (kind === 'follow') return Math.min(1, sinceS / FOLLOW_S);
      if (!moving) return 0;
      if (kind === 'sweep') return Math.min(1, (nowS - movedAtS) / (moves[at].sweepS ?? SWEEP_S));
      return Math.min(1, 0.3 + (0.7 * stillS) / (kind === 'hold' ? HELD_S : BACK_S));
    },
    sample(counts, timeS, buttons = lastButtons) {
      if (finished) return;
      if (timeS <= nowS) return;
      if (buttons !== lastButtons) touched = true;
      lastButtons = buttons;
      const allowed = JUMP_STEP + FASTEST_PER_S * (timeS - nowS);
      for (const i of watched) {
        if (Math.abs(counts[i] - last[i]) > allowed * full[i] && ++jumps[i] >= JUMPS) wild[i] = 1;
        last[i] = counts[i];
      }
      nowS = timeS;
      if (Number.isNaN(moveStartS)) moveStartS = nowS;
      if (Number.isNaN(blockStartS)) blockStartS = nowS;
      if (!record.add(counts, timeS)) {
        finished = true;
        return;
      }
      for (const i of watched) sum[i] += counts[i];
      blockSamples++;
      if (nowS - blockStartS < BLOCK_S) return;
      blockStartS = nowS;
      endBlock();
    },
    next() {
      goOn(true);
    },
  };
}

/** Where the bar of a `follow` move is, 0 open to 1 closed, so many seconds into the move. */
export function barAt(sinceS: number): number {
  const { waitS, rampS, stayS } = FOLLOW;
  const closing = (sinceS - waitS) / rampS;
  const opening = (sinceS - waitS - rampS - stayS) / rampS;
  return Math.min(Math.max(closing, 0), 1) - Math.min(Math.max(opening, 0), 1);
}
