import type { HandSide } from '../hand/joints.js';
import type { ActuatorKind, ActuatorRole, ChannelRole } from '../protocol/link-table.js';
import { actuatorLine, type Counts, channelLine } from './profile-lines.js';

/** What is known of a glove that was met for the first time. */
export interface NewGlove {
  name: string;
  hand: HandSide;
  /** Nobody said which hand it is. */
  handGuessed?: boolean;
  link: { kind: 'serial'; path: string; baud: number } | { kind: 'simulated' };
  /** Of a glove that sends lines of text. */
  lines?: {
    separator: string;
    radix: 10 | 16;
    columns: readonly string[];
    sampleRateHz: number;
    /** By column: what was guessed. */
    notes: readonly (string | undefined)[];
  };
  channels: readonly { role: ChannelRole; bits: number; counts?: Counts; note?: string }[];
  actuators: readonly { role: ActuatorRole; kind: ActuatorKind }[];
  /** Bits in the order in which they were first pressed. */
  buttonBits: readonly number[];
}

const NAMES = {
  right: ['disarm', 'a', 'b', 'menu', 'thumbstick', 'trigger', 'squeeze'],
  left: ['disarm', 'x', 'y', 'menu', 'thumbstick', 'trigger', 'squeeze'],
} as const;

/** A profile for it, with a comment wherever a figure or a look is needed. */
export function newProfileText(glove: NewGlove): string {
  const { name, hand, handGuessed, link, lines, channels, actuators } = glove;
  const quoted = JSON.stringify(name);
  return `${[
    '# Written by `tautline new`, from what the glove said and from how it answered to your hand.',
    '# Look at every line that has a comment. Then: tautline check, and tautline fit.',
    '#',
    '# BEFORE YOU WEAR IT WITH FORCES: run it with the glove off the hand, arm it, and see that every string goes slack',
    '# when you disarm it and when you pull the plug. Keep a way to get the hand out that needs no power.',
    '',
    'profile: 1',
    `name: ${quoted}`,
    '',
    'gloves:',
    `  - name: ${quoted}`,
    `    hand: ${hand}${handGuessed ? '                     # nobody said which: left or right' : ''}`,
    ...(link.kind === 'simulated'
      ? ['    link: { kind: simulated }']
      : [
          '    link:',
          '      kind: serial',
          `      path: ${JSON.stringify(link.path)}`,
          `      baud: ${link.baud}`,
        ]),
    ...(lines ? codecText(lines) : []),
    ...channelsText(channels),
    ...actuatorsText(actuators, lines !== undefined),
    ...buttonsText(glove),
    ...(actuators.length > 0 || lines ? safetyText() : []),
  ].join('\n')}\n`;
}

function codecText({
  separator,
  radix,
  columns,
  sampleRateHz,
  notes,
}: NonNullable<NewGlove['lines']>): string[] {
  const clock = columns.some((column) => column === 'timeMs' || column === 'timeUs');
  return [
    '    codec:',
    '      kind: lines',
    `      separator: ${JSON.stringify(separator)}`,
    ...(radix === 16 ? ['      radix: 16'] : []),
    ...(clock
      ? []
      : [`      sampleRateHz: ${sampleRateHz}          # as counted; lines carry no time of their own`]),
    '      columns:',
    ...columns.map((column, c) => {
      const note =
        notes[c] ?? (column === 'skip' ? 'answered to nothing: batteryMv, or of no use' : undefined);
      return `        - ${column}${note === undefined ? '' : `   # ${note}`}`;
    }),
  ];
}

function channelsText(channels: NewGlove['channels']): string[] {
  if (channels.length === 0)
    return ['    channels: []                   # none was found: see docs/bring-up.md'];
  return [
    '    # Counts at the open and at the closed hand, as seen once. `tautline fit` finds them for each wearer.',
    '    channels:',
    ...channels.map(({ role, bits, counts, note }) => {
      const line = counts ? channelLine(role, bits, counts) : channelLine(role, bits);
      const remark = note ?? (counts ? undefined : 'its ends were not seen');
      return `      ${line}${remark === undefined ? '' : `   # ${remark}`}`;
    }),
  ];
}

function actuatorsText(actuators: NewGlove['actuators'], lines: boolean): string[] {
  if (actuators.length === 0) {
    if (!lines) return [];
    return [
      '    # It cannot be seen what the glove does with lines that are sent to it, so no servo is used. Name them, and the',
      '    # line that commands them, with the pulses of your servos (found with the glove off the hand):',
      '    #   actuators:',
      '    #     - { role: index, kind: stringStop, servoUs: [700, 2200] }',
      "    # and under codec:  output: 'S {index.us}'",
    ];
  }
  const strings = actuators.some(({ kind }) => kind !== 'vibration');
  return [
    ...(strings
      ? [
          '    # Needed from the data sheet and the ruler, for the cap of the tension to hold: add stallTorqueNm (kg·cm x 0.0981),',
          '    # spoolRadiusMm and stallCurrentA to each. Without them 0.15 N·m, 20 mm and 0.7 A are taken for granted.',
          '    # `tautline sizing` does the arithmetic; `tautline fit --actuators` finds stopAtOpen and stopAtClosed.',
        ]
      : []),
    '    actuators:',
    ...actuators.map(({ role, kind }) => `      ${actuatorLine(role, kind)}`),
  ];
}

function buttonsText({ buttonBits, hand }: NewGlove): string[] {
  if (buttonBits.length === 0) return [];
  const names = NAMES[hand];
  const pairs = buttonBits.slice(0, names.length).map((bit, k) => `${names[k]}: ${bit}`);
  return [
    '    # In the order in which they were pressed. Keep `disarm`: a press of it frees every finger at once.',
    `    buttons: { ${pairs.join(', ')} }`,
  ];
}

const safetyText = (): string[] => [
  '',
  'safety:',
  '  maxTensionN: 8                     # most that a string may pull',
  '  maxSupplyA: 2.5                    # what the supply of the servos gives; look at its label',
];
