import type { Move } from '../../../src/guide/moves.js';
import { createClosingProfile, setCurl } from '../../../src/hand/closing.js';
import { DOF_COUNT } from '../../../src/hand/dofs.js';
import { FINGERS, type Finger } from '../../../src/hand/joints.js';
import type { Hello } from '../../../src/link/codec.js';
import type { ChannelRole } from '../../../src/protocol/link-table.js';
import { placeOf } from '../../../src/sensing/channels.js';
import { gaussian, random } from '../../sensing/glove-signals.js';
import { createWearer, type HandState } from '../wearer.js';

/** Gloves of all sorts of builds, with a wearer in them who does what is asked. */
export interface Build {
  name: string;
  hand: 'left' | 'right';
  roles: readonly ChannelRole[];
  bits: 10 | 12;
  /** In place of frames: how a reading is printed. */
  line?: (counts: readonly number[], timeS: number, buttons: number) => string;
  /** What each column should turn out to be. */
  columns?: readonly string[];
  seed: number;
  /** Noise of a reading, part of full scale. */
  noise?: number;
  /** Fingers with a string stop; all five when left out. */
  stops?: readonly Finger[];
}

export const RATE_HZ = 100;

/** Greatest departure of a potentiometer from a straight line, part of its way: as for the gloves of the first fit. */
const BOW = 0.06;
const closing = createClosingProfile();

export function createBuild({ roles, bits, seed, hand, noise = 0.0006, stops = FINGERS }: Build) {
  const uniform = random(seed);
  const normal = gaussian(seed + 1);
  const full = 2 ** bits - 1;
  const sensors = roles.map((role) => {
    const low = (0.08 + 0.12 * uniform()) * full;
    const high = (0.72 + 0.2 * uniform()) * full;
    const turned = !role.startsWith('stick') && uniform() < 0.4;
    const bend = role.startsWith('stick') ? 0 : BOW * (2 * uniform() - 1);
    return { role, ...placeOf(role)!, open: turned ? high : low, closed: turned ? low : high, bend };
  });
  const dofs = new Float64Array(DOF_COUNT);

  /** 0..1 of a joint's way, as it closes with its finger. */
  function closingWay(finger: number, part: number, curl: number): number {
    const dof = 4 * finger + part;
    const at = (c: number): number => {
      setCurl(closing, finger, c, dofs);
      return dofs[dof];
    };
    const open = at(0);
    return (at(curl) - open) / (at(1) - open);
  }
  const wearer = createWearer({ seed: seed + 7, sloppiness: 0.02, pauses: 0.1 });

  /** 0..1 of a sensor's way. */
  function way(
    { kind, role, finger, part }: (typeof sensors)[number],
    state: HandState,
    move: Move | undefined,
  ): number {
    if (kind === 'stick' || kind === 'control') {
      const value = state.controls[role as 'trigger'];
      return kind === 'stick' ? (value + 1) / 2 : value;
    }
    if (move?.sideways) {
      const out = finger === move.finger ? state.curls[finger] : 0.15 * state.curls[finger];
      return kind === 'splay' ? 0.5 + 0.5 * out : 0.02 * out;
    }
    if (kind === 'splay') return (state.splays[finger] + 1) / 2;
    const knuckle = part === 0;
    const curl = state.curls[finger];
    if (kind !== 'joint') return curl;
    if (finger > 0 && move?.name === 'roof') return knuckle ? curl : 0.15 * curl;
    if (finger > 0 && move?.name === 'hook') return knuckle ? 0.1 * curl : curl;
    return closingWay(finger, part, curl);
  }

  /** 0..1 of its way that each potentiometer reads; it is not quite straight. */
  const waysOf = (state: HandState, move?: Move): number[] =>
    sensors.map((sensor) => {
      const x = way(sensor, state, move);
      return x + sensor.bend * 4 * x * (1 - x);
    });

  const countsOf = (ways: readonly number[]): number[] =>
    sensors.map(({ open, closed }, i) => {
      const value = open + ways[i] * (closed - open);
      return Math.min(full, Math.max(0, Math.round(value + noise * full * normal())));
    });

  let pressSlot = -1;
  let pressing = 0;

  const hello: Hello = {
    protocol: 1,
    hand,
    deviceId: '0123456789abcdef',
    firmwareVersion: 1,
    sampleRateHz: RATE_HZ,
    channels: roles.map((role) => ({ role, bits })),
    actuators: stops.map((role) => ({ role, kind: 'stringStop' as const })),
  };
  return {
    hello,
    sensors,
    full,
    /** What each sensor reads, 0..1 of its way, and the buttons, while the wearer does what was asked for. */
    ways(move: Move | undefined, timeS: number): { ways: number[]; buttons: number } {
      const ways = waysOf(wearer.at(move, timeS), move);
      // A press that has begun is finished, and is as long as the others.
      const slot = Math.floor(timeS * 1.3);
      if (slot !== pressSlot) {
        pressSlot = slot;
        pressing = move?.name === 'controls' ? slot % 4 : 0;
      }
      return { ways, buttons: pressing === 0 ? 0 : 1 << (pressing + 1) };
    },
    /** The same in counts. */
    read(move: Move | undefined, timeS: number): { counts: number[]; buttons: number } {
      const { ways, buttons } = this.ways(move, timeS);
      return { counts: countsOf(ways), buttons };
    },
    /** Counts of these sensors for a hand whose pose is known. */
    measure(hand: HandState, wanted: readonly ChannelRole[], counts: Uint16Array): void {
      const all = countsOf(waysOf(hand));
      for (const [k, role] of wanted.entries()) counts[k] = all[roles.indexOf(role)];
    },
  };
}

const curls = FINGERS.map((finger): ChannelRole => `${finger}.curl`);
const splays = FINGERS.map((finger): ChannelRole => `${finger}.splay`);
const joints: ChannelRole[] = FINGERS.flatMap((finger): ChannelRole[] =>
  finger === 'thumb'
    ? ['thumb.cmc', 'thumb.mcp', 'thumb.ip']
    : [`${finger}.mcp`, `${finger}.pip`, `${finger}.dip`],
);
const shuffled: ChannelRole[] = ['little.curl', 'thumb.curl', 'ring.curl', 'index.curl', 'middle.curl'];
const many: ChannelRole[] = [
  ...curls,
  'thumb.splay',
  'index.splay',
  'ring.splay',
  'little.splay',
  'stick.x',
  'stick.y',
  'trigger',
];
const pairs: ChannelRole[] = [
  'thumb.mcp',
  'thumb.ip',
  ...(['index', 'middle', 'ring', 'little'] as const).flatMap((finger): ChannelRole[] => [
    `${finger}.pip`,
    `${finger}.mcp`,
  ]),
];

export const BUILDS: readonly Build[] = [
  { name: 'frames, five curls, 12 bits', hand: 'right', roles: curls, bits: 12, seed: 1 },
  {
    name: 'frames, curl, splay, stick and trigger, 10 bits, left',
    hand: 'left',
    roles: [...curls, ...splays, 'stick.x', 'stick.y', 'trigger'],
    bits: 10,
    seed: 2,
  },
  {
    name: 'frames, a sensor a joint, 12 bits, no actuators',
    hand: 'right',
    roles: joints,
    bits: 12,
    seed: 3,
    stops: [],
  },
  {
    name: 'text, five curls in any order, commas, no clock',
    hand: 'right',
    roles: shuffled,
    bits: 12,
    seed: 4,
    line: (counts) => counts.join(','),
    columns: shuffled,
  },
  {
    name: 'text, clock, curls, splays, stick, trigger, buttons, semicolons, 10 bits, left',
    hand: 'left',
    roles: many,
    bits: 10,
    seed: 5,
    line: (counts, timeS, buttons) => [Math.round(timeS * 1000 + 777), ...counts, 42, buttons].join(';'),
    columns: ['timeMs', ...many, 'skip', 'buttons'],
  },
  {
    name: 'text, two joints a finger, hexadecimal, tabs, a label and a counter',
    hand: 'right',
    roles: pairs,
    bits: 12,
    seed: 6,
    line: (counts, timeS) =>
      ['S', Math.round(timeS * RATE_HZ).toString(16), ...counts.map((x) => x.toString(16))].join('\t'),
    columns: ['skip', 'skip', ...pairs],
  },
];
