import { FINGERS } from '../hand/joints.js';
import type { Channel } from '../sensing/channels.js';
import { fault, percent, REMEDY, type Verdict } from '../sensing/health/verdicts.js';
import { type Answers, answersOf, NO_RESPONSE, STRETCH_S } from './check-answers.js';
import type { MoveRecord } from './move-record.js';
import { traceOf } from './move-statistics.js';
import { loneWithOthersHeld, type Move } from './moves.js';

/**
 * Channels that respond to another finger: swapped plugs, and channels that couple into one another.
 *
 * Fingers share tendons and muscles, so that a healthy ring finger follows its neighbours by half and more (Zatsiorsky,
 * Li & Latash, Exp. Brain Res. 131, 2000; from memory). No reading distinguishes that from coupled wires. So where a
 * finger followed, its neighbour is asked for once more with the other fingers held straight by the other hand: then
 * tendons cannot move them, and wires still can.
 */

/** A channel that follows this much, part of its own range, is asked again. */
const ASK_AGAIN = 0.12;
/** Most that a finger moves although the other hand holds it. Common practice. */
const HELD_MOST = 0.15;
/** A move counts when its own finger responded by this part of its range. */
const MADE = 0.4;
/** What tendons explain, when the other fingers were not held: by the finger that moves (row) and the one that follows. Common practice. */
const FOLLOWS = [
  [0, 0.35, 0.25, 0.2, 0.2],
  [0.35, 0, 0.6, 0.35, 0.3],
  [0.25, 0.6, 0, 0.75, 0.45],
  [0.2, 0.35, 0.75, 0, 0.75],
  [0.2, 0.3, 0.45, 0.75, 0],
] as const;
/** A channel that responds this much more to another finger than to its own belongs to that finger. */
const OTHERS = 1.8;
const TINY = 1e-9;

const isOfFinger = ({ kind }: Channel) => kind === 'curl' || kind === 'joint';

/** Range of a channel in the moves of its own finger, part of the converter. */
const rangeOf = ({ lone, whole }: Answers, finger: number): number =>
  Math.max(Math.abs(lone[finger]) || 0, Math.abs(whole) || 0);

/** Single-finger moves to repeat with the other fingers held: those that other fingers followed. */
export function movesToRepeat(record: MoveRecord, channels: readonly Channel[]): Move[] {
  const answers = answersOf(record, traceOf(record, STRETCH_S), channels);
  const wasMade = (mover: number) =>
    channels.some(
      (channel, i) =>
        isOfFinger(channel) &&
        channel.finger === mover &&
        Math.abs(answers[i].lone[mover]) > Math.max(NO_RESPONSE, MADE * rangeOf(answers[i], mover)),
    );
  const wasFollowed = (mover: number) =>
    channels.some((channel, i) => {
      if (!isOfFinger(channel) || channel.source < 0 || channel.finger === mover) return false;
      // Tendons do not explain a channel that responds more to others than to its own finger.
      const own = Math.abs(answers[i].lone[channel.finger]);
      const share =
        Math.abs(answers[i].lone[mover]) / Math.max(NO_RESPONSE, rangeOf(answers[i], channel.finger));
      return share > ASK_AGAIN && Math.abs(answers[i].lone[mover]) < OTHERS * own;
    });
  const repeat = FINGERS.map((_, mover) => mover).filter((mover) => wasMade(mover) && wasFollowed(mover));
  return repeat.map(loneWithOthersHeld);
}

/** Answers to another finger, or to the other joints of its own, more than to what it is for. */
export function crossTalkOf(
  channels: readonly Channel[],
  answers: readonly Answers[],
  i: number,
): Verdict | undefined {
  const { finger, kind } = channels[i];
  const { lone } = answers[i];
  const mine = Math.abs(lone[finger]);
  let loudest = -1;
  for (let f = 0; f < lone.length; f++) {
    if (f === finger || Number.isNaN(lone[f])) continue;
    if (loudest < 0 || Math.abs(lone[f]) > Math.abs(lone[loudest])) loudest = f;
  }
  const loud = loudest < 0 ? 0 : Math.abs(lone[loudest]);
  if (loud < NO_RESPONSE || loud < OTHERS * mine) return otherJoint(channels, answers, i);
  const numbers = `moved by ${percent(mine)} for its own finger, by ${percent(loud)} for the ${FINGERS[loudest]}`;
  const twin = channels.findIndex((other, j) => {
    if (other.finger !== loudest || other.kind !== kind || other.source < 0) return false;
    const forMine = Math.abs(answers[j].lone[finger]);
    return forMine > NO_RESPONSE && forMine > OTHERS * Math.max(TINY, Math.abs(answers[j].lone[loudest]));
  });
  if (twin < 0) return fault('crossTalk', false, numbers);
  const swapped = fault('swapped', false, `${numbers}; ${channels[twin].role} does the reverse`);
  // Once its plug is where it belongs, the sensor is read by the range of its twin.
  const towards = (k: number) => (channels[k].closed < channels[k].open ? -1 : 1);
  if (lone[loudest] * towards(i) * towards(twin) > 0) return swapped;
  return {
    ...swapped,
    evidence: `${swapped.evidence}; it is reversed as well`,
    remedy: `${swapped.remedy} Then, for the ${FINGERS[loudest]}: ${lowerFirst(REMEDY.reversed)}`,
  };
}

const lowerFirst = (text: string) => text[0].toLowerCase() + text.slice(1);

const KNUCKLE = 0;

/** Knuckles bend in the roof, the joints beyond them in the hook. */
function otherJoint(
  channels: readonly Channel[],
  answers: readonly Answers[],
  i: number,
): Verdict | undefined {
  const { finger, kind } = channels[i];
  if (kind !== 'joint' || finger === 0 || !bendsForOthers(channels[i], answers[i])) return undefined;
  const twin = channels.findIndex(
    (other, j) =>
      other.kind === 'joint' &&
      other.finger === finger &&
      other.source >= 0 &&
      (other.part === KNUCKLE) !== (channels[i].part === KNUCKLE) &&
      bendsForOthers(other, answers[j]),
  );
  if (twin < 0) return undefined;
  const { roof, hook } = answers[i];
  return fault(
    'swapped',
    false,
    `moved by ${percent(Math.abs(roof))} for the knuckles, by ${percent(Math.abs(hook))} for the joints beyond; ${channels[twin].role} does the reverse`,
  );
}

function bendsForOthers({ part }: Channel, { roof, hook }: Answers): boolean {
  const [own, others] =
    part === KNUCKLE ? [Math.abs(roof), Math.abs(hook)] : [Math.abs(hook), Math.abs(roof)];
  return others > NO_RESPONSE && others > OTHERS * own;
}

/** Follows another finger more than tendons explain. */
export function couplingOf(
  channels: readonly Channel[],
  answers: readonly Answers[],
  i: number,
): Verdict | undefined {
  const { finger } = channels[i];
  const { lone, held } = answers[i];
  const range = rangeOf(answers[i], finger);
  if (range < NO_RESPONSE) return undefined;
  const trusts = !nobodyHeld(channels, answers);
  for (let f = 0; f < lone.length; f++) {
    if (f === finger || Number.isNaN(lone[f])) continue;
    const holding = trusts && wasMadeHeld(channels, answers, f);
    const share = Math.abs(holding ? held[f] : lone[f]) / range;
    if (share <= (holding ? HELD_MOST : FOLLOWS[f][finger])) continue;
    const how = holding ? ', though it was held straight' : '';
    return fault(
      'crossTalk',
      true,
      `follows the ${FINGERS[f]} finger by ${percent(share)} of its own range${how}`,
    );
  }
  return undefined;
}

/** The finger was seen to be moved while the others were to be held. */
const wasMadeHeld = (channels: readonly Channel[], answers: readonly Answers[], f: number): boolean =>
  channels.some(
    (channel, j) =>
      isOfFinger(channel) &&
      channel.finger === f &&
      Math.abs(answers[j].held[f]) > Math.max(NO_RESPONSE, MADE * rangeOf(answers[j], f)),
  );

/** Moves in which fingers followed as tendons let them although they were to be held: wires rarely do that to so many. */
const NOBODY_HELD = 3;

/** The other hand was not used, whatever was asked for: then the repeated moves say no more than the first ones. */
export function nobodyHeld(channels: readonly Channel[], answers: readonly Answers[]): boolean {
  const moves = FINGERS.filter((_, f) => {
    if (!wasMadeHeld(channels, answers, f)) return false;
    return channels.some((channel, j) => {
      if (!isOfFinger(channel) || channel.finger === f || channel.source < 0) return false;
      const range = rangeOf(answers[j], channel.finger);
      if (range < NO_RESPONSE) return false;
      const share = Math.abs(answers[j].held[f]) / range;
      return share > HELD_MOST && share <= FOLLOWS[f][channel.finger];
    });
  });
  return moves.length >= NOBODY_HELD;
}

/** What stands beside a channel that is well when its neighbours were not held. */
export const NOT_HELD = 'not held when asked, so tendons may hide cross-talk';
