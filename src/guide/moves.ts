import { FINGERS } from '../hand/joints.js';
import type { Channel } from '../sensing/channels.js';

/** What a wearer is asked to do, so that what the channels say can be judged. */
export interface Move {
  readonly name: MoveName;
  /**
   * hold: take a pose and keep it; lone: one finger closes and opens again; sweep: keep moving; follow: close and
   * open along a bar.
   */
  readonly kind: 'hold' | 'lone' | 'sweep' | 'follow';
  /** Index into FINGERS, for `lone`. */
  readonly finger?: number;
  /** Of a lone move: the other hand keeps the other fingers straight meanwhile. */
  readonly othersHeld?: boolean;
  /** Of a lone move: the finger goes sideways and back instead. */
  readonly sideways?: boolean;
  /** Of a sweep: how long from the first motion on, s; else as usual. */
  readonly sweepS?: number;
  /** What the wearer reads: one line of at most 72 characters. */
  readonly prompt: string;
}

export type MoveName =
  | 'rest'
  | 'open'
  | 'fist'
  | 'together'
  | 'spread'
  | 'pinch'
  | 'thumbSweep'
  | 'controls'
  | 'follow'
  | 'roof'
  | 'hook'
  | (typeof FINGERS)[number];

const hold = (name: MoveName, prompt: string): Move => ({ name, kind: 'hold', prompt });
const OPEN = hold('open', 'Open the hand flat, fingers and thumb straight. Hold it.');
const FIST = hold('fist', 'Make a fist, thumb over the fingers. Hold it.');
const TOGETHER = hold('together', 'Hand flat, all fingers pressed together. Hold it.');
const SPREAD = hold('spread', 'Hand flat, fingers spread as wide as they go. Hold it.');
const LONE_PROMPT = [
  'Only the thumb: bend it into the palm, then straighten it.',
  'Only the index finger: close it, then straighten it.',
  'Only the middle finger: close it, then straighten it.',
  'Only the ring finger: close it, then straighten it.',
  'Only the little finger: close it, then straighten it.',
] as const;
const lone = (finger: number): Move => ({
  name: FINGERS[finger],
  kind: 'lone',
  finger,
  prompt: LONE_PROMPT[finger],
});

/** A lone move once more, in which tendons cannot move the other fingers. */
export const loneWithOthersHeld = (finger: number): Move => ({
  ...lone(finger),
  othersHeld: true,
  prompt: `Only the ${FINGER_WORDS[finger]} again. Your other hand holds the others straight.`,
});

const FINGER_WORDS = ['thumb', 'index finger', 'middle finger', 'ring finger', 'little finger'] as const;
/** Sideways rather than closed, to find the sensor that says so. */
const loneSideways = (finger: number): Move => ({
  ...lone(finger),
  sideways: true,
  prompt: `Only the ${FINGER_WORDS[finger]}: away from the others sideways, then back.`,
});

const ROOF = hold('roof', 'Bend only the knuckles, fingers straight, like a roof. Hold it.');
const HOOK = hold('hook', 'Now a hook: knuckles straight, the joints beyond bent. Hold it.');

const isOfFinger = ({ kind }: Channel) => kind === 'curl' || kind === 'joint';
const has = (channels: readonly Channel[], test: (channel: Channel) => boolean) => channels.some(test);

/** The moves that show every fault of these channels. @param buttons how many the profile names */
export function checkMoves(channels: readonly Channel[], buttons = 0): Move[] {
  const sensed = FINGERS.map((_, f) => f).filter((f) =>
    has(channels, (c) => isOfFinger(c) && c.finger === f),
  );
  const moves = [hold('rest', 'Let the hand rest, open and relaxed. Keep still.')];
  if (sensed.length > 0) moves.push(FIST, OPEN, FIST, OPEN, ...sensed.map(lone));
  const joints = (knuckle: boolean) =>
    has(channels, ({ kind, finger, part }) => kind === 'joint' && finger > 0 && (part === 0) === knuckle);
  if (joints(true) && joints(false)) moves.push(ROOF, OPEN, HOOK, OPEN);
  if (has(channels, ({ kind }) => kind === 'splay')) moves.push(TOGETHER, SPREAD, TOGETHER);
  const controls = has(channels, isControl);
  if (controls || buttons > 0) {
    moves.push({
      name: 'controls',
      kind: 'sweep',
      ...(buttons > 0 ? { sweepS: (controls ? 5 : 2) + 1.5 * buttons } : {}),
      prompt: CONTROLS_PROMPT[Number(controls)][Number(buttons > 0)],
    });
  }
  return moves;
}

/** [stick or triggers][buttons] */
const CONTROLS_PROMPT = [
  ['', 'Press every button, one after the other, and let go.'],
  [
    'Move the stick to all sides; press and let go of every trigger.',
    'Stick to all sides; press and let go of every trigger and button.',
  ],
] as const;

/** A stick or trigger: it answers to the controls move. */
export const isControl = ({ kind, role }: Channel) =>
  kind === 'stick' || (kind === 'control' && role !== 'thumbRest');

/** The moves from which these channels can be fitted, under a minute of them. */
export function fitMoves(channels: readonly Channel[]): Move[] {
  const moves: Move[] = [];
  if (has(channels, isOfFinger)) {
    moves.push(OPEN, FIST, OPEN, FIST, OPEN, FIST, OPEN);
    moves.push({
      name: 'follow',
      kind: 'follow',
      prompt: 'Close the hand along with the bar, then open it.',
    });
  }
  if (has(channels, ({ kind }) => kind === 'splay')) moves.push(TOGETHER, SPREAD, TOGETHER, SPREAD, OPEN);
  if (has(channels, (c) => isOfFinger(c) && c.finger <= 1)) {
    moves.push(hold('pinch', 'Touch the tip of the index finger with the thumb. Hold it.'));
  }
  if (has(channels, ({ finger, kind, part }) => finger === 0 && (kind === 'splay' || part < 2))) {
    moves.push({
      name: 'thumbSweep',
      kind: 'sweep',
      prompt: 'Sweep the thumb from wide out to the little finger, a few times.',
    });
  }
  if (has(channels, isControl)) {
    moves.push({
      name: 'controls',
      kind: 'sweep',
      prompt: 'Move the stick to all sides; press and let go of every trigger.',
    });
  }
  return moves;
}

const REST = hold('rest', 'Let the hand rest, open and relaxed. Keep still.');
const CONTROLS: Move = {
  name: 'controls',
  kind: 'sweep',
  prompt: 'Stick to all sides, every trigger, every button. None left: Enter.',
};

/** The moves from which the ends of channels are found whose roles are known. */
export function firstMoves(channels: readonly Channel[]): Move[] {
  const moves = [REST];
  if (has(channels, isOfFinger)) moves.push(OPEN, FIST, OPEN, FIST, OPEN);
  if (has(channels, ({ kind }) => kind === 'splay')) moves.push(TOGETHER, SPREAD, TOGETHER, SPREAD, OPEN);
  return [...moves, CONTROLS];
}

/** The moves from which it is seen what a column of numbers senses. */
export const namingMoves = (): Move[] => [
  REST,
  ...FINGERS.map((_, finger) => lone(finger)),
  TOGETHER,
  SPREAD,
  OPEN,
  CONTROLS,
];

/** What tells apart the joints of a finger that has several sensors, and whose finger goes sideways. */
export function furtherMoves(ask: { joints: boolean; sideways: boolean }): Move[] {
  return [
    ...(ask.joints ? [OPEN, ROOF, OPEN, HOOK, OPEN] : []),
    ...(ask.sideways ? FINGERS.map((_, finger) => loneSideways(finger)) : []),
  ];
}
