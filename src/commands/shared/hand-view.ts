import { DOFS_PER_FINGER } from '../../hand/dofs.js';
import { FINGER_BASE, FINGER_JOINTS, FINGERS, type Finger, type HandSide } from '../../hand/joints.js';
import { DOF_MAX } from '../../hand/limits.js';
import { faultText } from '../../protocol/glove-faults.js';
import type { ServerMessage, ServerMessageOf } from '../../protocol/messages.js';
import { wristLine, wristNotes } from '../../protocol/wrist-report.js';
import { unusedLines } from '../../resistance/unused-lines.js';
import { wrap } from './wrap.js';

/**
 * What a terminal shows of the hands on the stream: messages go in with `take`, lines of text come out.
 * Pure: no I/O, no clock.
 */
export interface HandView {
  hand: HandSide;
  name: string;
  armed: boolean;
  link: string;
  reason?: string;
  /** The session that is shown in place of the glove. */
  recorded?: string;
  actuators: ServerMessageOf<'welcome'>['hands'][number]['actuators'];
  joints?: ServerMessageOf<'joints'>;
  inputs?: ServerMessageOf<'inputs'>;
  resistance?: ServerMessageOf<'resistance'>;
  health?: ServerMessageOf<'health'>;
  /** Arrival times of the poses of the last second, ms. */
  arrivals: number[];
}
export type View = Map<HandSide, HandView>;

export interface Look {
  columns: number;
  /** Characters beyond ASCII, for finer bars. */
  unicode: boolean;
  colour: boolean;
}

/** Brings the view up to date with a message of the stream. */
export function take(view: View, message: ServerMessage, nowMs: number): void {
  if (message.type === 'welcome') {
    const present = new Set(message.hands.map(({ hand }) => hand));
    for (const hand of view.keys()) if (!present.has(hand)) view.delete(hand);
    for (const { hand, name, armed, link, actuators = [] } of message.hands) {
      const known = view.get(hand) ?? { hand, arrivals: [] };
      const { state, reason, recorded } = link;
      view.set(hand, { ...known, name, armed, link: state, reason, recorded, actuators });
    }
    return;
  }
  if (
    message.type === 'ack' ||
    message.type === 'error' ||
    message.type === 'signals' ||
    message.type === 'gestures'
  )
    return;
  const hand = view.get(message.hand);
  if (!hand) return;
  if (message.type === 'joints') {
    hand.joints = message;
    hand.arrivals.push(nowMs);
  } else if (message.type === 'inputs') hand.inputs = message;
  else if (message.type === 'resistance') {
    hand.resistance = message;
    hand.armed = message.armed;
  } else {
    hand.health = message;
    hand.link = message.link.state;
    hand.reason = message.link.reason;
  }
}

/** The whole view, a text line each, none longer than the terminal is wide. */
export function drawHands(view: View, look: Look, nowMs: number): string[] {
  const hands = [...view.values()];
  if (hands.length === 0) return ['No hands yet.'];
  return hands.flatMap((hand, i) => [...(i > 0 ? [''] : []), ...drawHand(hand, look, nowMs)]);
}

/** One line of plain text for one hand, for logs and pipes. */
export function sayHand(hand: HandView, nowMs?: number): string {
  const fingers = FINGERS.map((finger, i) => {
    const state = hand.joints?.fingers[finger];
    const flexed = hand.joints ? `${percent(flexion(hand.joints, i))}%` : '-';
    const stop = hand.resistance?.fingers[finger]?.stopAt;
    const held =
      stop !== undefined ? ` held at ${percent(stop)}%` : isUnused(hand, finger) ? ' stays free' : '';
    return `${finger} ${flexed}${state && state !== 'tracked' ? ` ${state}` : ''}${held}`;
  });
  return [
    hand.hand,
    ...fingers,
    ...(nowMs === undefined ? [] : [`${posesPerSecond(hand, nowMs)} poses/s`]),
    clean(hand.link),
    ...(hand.recorded === undefined ? [] : [recordedText(hand.recorded)]),
    armedText(hand),
  ].join(', ');
}

/** Flexion of a finger over its whole range, 0 (straight) to 1, from the turn of each joint about its +X. */
export function flexion({ poses }: ServerMessageOf<'joints'>, finger: number): number {
  let turned = 0;
  // The thumb moves at its CMC too, but for the eye its MCP and IP tell how far it is closed.
  const first = FINGER_BASE[finger];
  for (let joint = first + 1; joint < first + FINGER_JOINTS[finger] - 1; joint++) {
    turned += turnAboutX(poses[joint - 1], poses[joint]);
  }
  const dof = finger * DOFS_PER_FINGER;
  const range =
    finger === 0 ? DOF_MAX[dof + 2] + DOF_MAX[dof + 3] : DOF_MAX[dof] + DOF_MAX[dof + 2] + DOF_MAX[dof + 3];
  return Math.max(0, Math.min(1, turned / range));
}

/** Flexion by which the child is turned against its parent: flexion is a turn of -angle about +X. */
function turnAboutX(parent: readonly number[], child: readonly number[]): number {
  const [, , , px, py, pz, pw] = parent;
  const [, , , cx, cy, cz, cw] = child;
  const x = pw * cx - px * cw - py * cz + pz * cy;
  const w = pw * cw + px * cx + py * cy + pz * cz;
  const angle = -2 * Math.atan2(x, w);
  return angle > Math.PI ? angle - 2 * Math.PI : angle < -Math.PI ? angle + 2 * Math.PI : angle;
}

type Style = 'plain' | 'strong' | 'faint' | 'good' | 'caution' | 'bad';
type Piece = readonly [text: string, style?: Style];
const SGR: Record<Style, string> = {
  plain: '',
  strong: '1',
  faint: '2',
  good: '32',
  caution: '33',
  bad: '31',
};
const STATE_STYLE = { tracked: 'good', inferred: 'caution', invalid: 'bad' } as const;
const BAR_CELLS = 24;
const MAX_COLUMNS = 80;
const MAX_FAULTS = 5;

function drawHand(hand: HandView, look: Look, nowMs: number): string[] {
  const { health, joints } = hand;
  const rate = health ? `${Math.round(health.rateHz)} samples/s, ` : '';
  const lines: Piece[][] = [
    [
      [`${hand.hand === 'left' ? 'Left' : 'Right'} hand`, 'strong'],
      [`  ${clean(hand.name)}  ${rate}${posesPerSecond(hand, nowMs)} poses/s  `],
      [hand.link, hand.link === 'live' ? 'good' : 'bad'],
      ['  '],
      [armedText(hand), hand.armed ? 'caution' : 'plain'],
    ],
  ];
  if (hand.recorded !== undefined) lines.push([[`  ${recordedText(hand.recorded)}`, 'caution']]);
  if (hand.link !== 'live' && hand.reason) lines.push([[`  ${clean(hand.reason)}`, 'bad']]);
  if (joints && !joints.valid) lines.push([[`  not valid: ${clean(joints.reason ?? 'no samples')}`, 'bad']]);
  for (const [i, finger] of FINGERS.entries()) lines.push(drawFinger(hand, finger, i, look));
  for (const { says, remedy } of hand.recorded === undefined ? unusedLines(hand.actuators) : []) {
    lines.push(...indented(`${says} ${remedy}`, 'caution', look));
  }
  if (hand.inputs) lines.push([[`  ${inputsText(hand.inputs)}`]]);
  const ill = health?.channels.filter(({ verdict }) => verdict !== 'healthy') ?? [];
  for (const { role, verdict, remedy } of ill.slice(0, MAX_FAULTS)) {
    lines.push([[`  ${role} ${clean(verdict)}`, 'bad']]);
    if (remedy) lines.push(...indented(remedy, 'plain', look));
  }
  if (ill.length > MAX_FAULTS) lines.push([[`  and ${ill.length - MAX_FAULTS} more channels`, 'bad']]);
  if (health?.wrist && hand.link === 'live') lines.push(...indented(wristLine(health.wrist), 'faint', look));
  for (const note of health?.wrist ? wristNotes(health.wrist) : [])
    lines.push(...indented(note, 'caution', look));
  if (health?.clock?.note) lines.push([[`  ${clean(health.clock.note)}`, 'caution']]);
  if (health) lines.push([[`  ${deviceText(health)}`, 'faint']]);
  for (const fault of health?.faults ?? [])
    lines.push(...indented(`The glove reports: ${faultText(fault)}.`, 'caution', look));
  return lines.map((pieces) => fitLine(pieces, look));
}

/** As many lines as it takes. */
const indented = (text: string, style: Style, look: Look): Piece[][] =>
  wrap(clean(text), Math.min(MAX_COLUMNS, look.columns) - 2).map((line) => [[`  ${line}`, style]]);

function drawFinger(hand: HandView, finger: Finger, index: number, look: Look): Piece[] {
  const { joints, resistance } = hand;
  const name: Piece = [`  ${finger.padEnd(7)}`];
  if (!joints) return [name, ['waiting for the first pose', 'faint']];
  const state = joints.fingers[finger];
  const value = flexion(joints, index);
  const held = resistance?.fingers[finger];
  const stop = held?.stopAt;
  return [
    name,
    [bar(value, stop, look.unicode), joints.valid && state === 'tracked' ? 'plain' : 'faint'],
    [` ${String(percent(value)).padStart(3)} %  `],
    [state.padEnd(8), STATE_STYLE[state]],
    [
      stop !== undefined
        ? `  held at ${percent(stop)} %${held?.by ? ` by ${clean(held.by)}` : ''}`
        : isUnused(hand, finger)
          ? '  stays free'
          : '',
      'caution',
    ],
  ];
}

/** A bar of BAR_CELLS characters, with a mark where the finger is stopped. */
export function bar(value: number, stop: number | undefined, unicode: boolean): string {
  const filled = Math.max(0, Math.min(1, value)) * BAR_CELLS;
  const whole = Math.floor(filled);
  const eighths = Math.floor((filled - whole) * 8);
  const cells = Array.from({ length: BAR_CELLS }, (_, i) => {
    if (i < whole) return unicode ? '█' : '#';
    if (i === whole && eighths > 0 && unicode) return ' ▏▎▍▌▋▊▉'[eighths];
    return unicode ? '·' : '.';
  });
  if (stop !== undefined)
    cells[Math.min(BAR_CELLS - 1, Math.max(0, Math.floor(stop * BAR_CELLS)))] = unicode ? '┃' : '|';
  return cells.join('');
}

/** The last parts of the input paths: buttons that are pressed, and the axes. */
function inputsText({ values }: ServerMessageOf<'inputs'>): string {
  const axes: string[] = [];
  const pressed: string[] = [];
  for (const [path, value] of Object.entries(values)) {
    const name = clean(
      path.replace(/^\/user\/hand\/(?:left|right)\/input\//, '').replace(/\/(?:value|click)$/, ''),
    );
    if (typeof value === 'number') axes.push(`${name} ${value.toFixed(2)}`);
    else if (value) pressed.push(`[${name}]`);
  }
  return [...pressed, ...axes].join('  ');
}

function deviceText({ lost, batteryMv, temperatureC }: ServerMessageOf<'health'>): string {
  return [
    `${lost} frames lost`,
    batteryMv ? `battery ${(batteryMv / 1000).toFixed(2)} V` : '',
    temperatureC === undefined ? '' : `${temperatureC.toFixed(0)} °C`,
  ]
    .filter(Boolean)
    .join(', ');
}

function posesPerSecond(hand: HandView, nowMs: number): number {
  while (hand.arrivals.length > 0 && hand.arrivals[0] <= nowMs - 1000) hand.arrivals.shift();
  return hand.arrivals.length;
}

/** It has something to hold it with that is never used. In a recording nothing is. */
const isUnused = ({ recorded, actuators }: HandView, finger: Finger) =>
  recorded === undefined && actuators.some(({ role, unused }) => role === finger && unused);
const recordedText = (name: string) => `a recording is shown (${clean(name)}), no force is possible`;
const armedText = ({ armed }: HandView) => (armed ? 'armed' : 'disarmed');
const percent = (value: number) => Math.round(value * 100);
/** Text from the stream may not steer the terminal. */
const clean = (text: string) => text.replace(/\p{C}/gu, '?');

/** What stands for a character where there is only ASCII. */
const ASCII: Record<string, string> = { '°': '', '·': '.' };

/** Cuts the pieces to the width and paints what is left. */
function fitLine(pieces: readonly Piece[], { columns, unicode, colour }: Look): string {
  let room = Math.min(MAX_COLUMNS, columns);
  let line = '';
  for (const [text, style = 'plain'] of pieces) {
    const shown = (unicode ? text : text.replace(/[^\x20-\x7e]/g, (c) => ASCII[c] ?? '?')).slice(0, room);
    room -= shown.length;
    line += colour && SGR[style] !== '' && shown !== '' ? `\x1b[${SGR[style]}m${shown}\x1b[0m` : shown;
  }
  return line.trimEnd();
}
