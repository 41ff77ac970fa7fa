import type { Profile } from '../../src/config/schema.js';
import { examine, type Facts } from '../../src/doctor/doctor.js';
import { TautlineError } from '../../src/errors.js';
import { checkMoves, loneWithOthersHeld, type Move } from '../../src/guide/moves.js';
import { FINGERS } from '../../src/hand/joints.js';
import type { ChannelRole } from '../../src/protocol/link-table.js';
import { unusedLines } from '../../src/resistance/unused-lines.js';
import { type Channel, placeOf } from '../../src/sensing/channels.js';
import { GLOVE, well } from '../doctor/well.js';
import { createWearer } from '../guide/wearer.js';
import {
  startTurnedChain,
  type TurnedChain,
  type TurnedChainOptions,
  turnedProfile,
} from './turned-chain.js';

/*
 * Faults that makers make and gloves get, each in the firmware with the physical hand on this computer, on its line, or in
 * the profile: what `check`, `status` and `doctor` say of it. The table of it is docs/faults.md (scripts/fault-table.ts).
 */

const CURLS = FINGERS.map((finger) => `${finger}.curl`);
const STICK = ['stick.x', 'stick.y'];
const BUTTONS = { a: 0, disarm: 1 };

/** What is wrong, how it comes about here, and what would be right to say. */
export interface TrialFault {
  name: string;
  /** Commands to the firmware. */
  commands?: readonly string[];
  /** What the profile or the line is like. */
  chain?: Partial<TurnedChainOptions>;
  profile?: (profile: Profile) => void;
  /** Channels of the glove, and of the profile; the same unless said. */
  roles?: readonly string[];
  named?: readonly string[];
  buttons?: Record<string, number>;
  /** Something that goes on while it is worn. */
  meanwhile?: (chain: TurnedChain, second: number) => void;
  /** The wearer does nothing; or does not press this button. */
  still?: boolean;
  /** Seconds of use before `status` is asked; 10 unless said. */
  usedS?: number;
  /** Channels that may be named; those in `commands` unless said. */
  about?: readonly string[];
  unpressed?: string;
  facts?: Partial<Facts>;
  /** In what `check`, and `status` after ten seconds of use, would be right to say; undefined: nothing to be said. */
  check?: RegExp;
  status?: RegExp;
  /** What no reading tells, for the table. */
  unseen?: string;
}

const damaged = (every: number) => {
  let count = 0;
  return (bytes: Buffer): Buffer => {
    for (let i = 0; i < bytes.length; i++) if (++count % every === 0) bytes[i] ^= 0x10;
    return bytes;
  };
};
/** Bytes of another baud rate: about as many, none of them right. */
const garbled = () => {
  let state = 12345;
  return (bytes: Buffer): Buffer =>
    bytes.map(() => {
      state = (state * 1103515245 + 12345) & 0x7fffffff;
      return 128 | (state >> 16);
    }) as Buffer;
};
const asText = () => {
  let t = 0;
  return (bytes: Buffer): Buffer =>
    Buffer.from(bytes.length > 0 ? `${1000 + (++t % 50)},2000,1500,1700,900\n` : '');
};
/** Frames of samples get through, the hello does not. */
const deaf = (): ((bytes: Buffer) => Buffer) => {
  return (bytes) => {
    const frames: Buffer[] = [];
    let from = 0;
    for (let i = 0; i < bytes.length; i++) {
      if (bytes[i] !== 0) continue;
      // COBS: the type is the byte after the first code, unless it is a hello.
      if (bytes[from + 1] !== 1) frames.push(bytes.subarray(from, i + 1));
      from = i + 1;
    }
    return Buffer.concat(frames);
  };
};

const missingPort = new TautlineError(
  'portMissing',
  '/dev/ttyUSB7 does not exist.',
  'There is no serial port here at all: check that the cable carries data and the driver is loaded.',
);
const ofAll = (command: (channel: string) => string) => CURLS.map(command);
/** `index.curl railed`, as the check says it. */
const verdict = (role: string, kind: string) => new RegExp(`^${role} ${kind}:`, 'm');
const sensor = (role: string, kind: string) => new RegExp(`^${role}: The sensor is ${kind}`, 'm');
const STICKS = { roles: [...CURLS, ...STICK], buttons: BUTTONS };

export const TRIAL_FAULTS: readonly TrialFault[] = [
  {
    name: 'a string has come off its spool: the sensor stays where it is',
    commands: ['fault dead index.curl'],
    check: verdict('index.curl', 'dead'),
    status: sensor('index.curl', 'dead'),
  },
  {
    name: 'a signal wire is off, reading 0',
    commands: ['fault railed 0 middle.curl'],
    check: verdict('middle.curl', 'railed'),
    status: sensor('middle.curl', 'at an end'),
  },
  {
    name: 'a ground wire is off, reading full scale',
    commands: ['fault railed 1 ring.curl'],
    check: verdict('ring.curl', 'railed'),
    status: sensor('ring.curl', 'at an end'),
  },
  {
    name: 'a wiper does not touch; pull-down of 470 kΩ',
    commands: ['fault open 470 index.curl'],
    check: verdict('index.curl', 'railed'),
    status: sensor('index.curl', 'at an end'),
  },
  {
    name: 'a wiper does not touch; pull-down of 1 MΩ',
    commands: ['fault open 1000 little.curl'],
    check: verdict('little.curl', 'railed'),
    status: sensor('little.curl', 'at an end'),
  },
  {
    name: 'a wiper does not touch; no pull-down, the input keeps its charge',
    commands: ['fault floating 0 middle.curl'],
    check: verdict('middle.curl', '(railed|dead)'),
    status: sensor('middle.curl', '\\w+'),
  },
  {
    name: 'a plug that loses contact 4 times a second',
    commands: ['fault intermittent 4 thumb.curl'],
    check: verdict('thumb.curl', 'intermittent'),
    status: sensor('thumb.curl', 'intermittent'),
  },
  {
    name: 'a plug that loses contact 40 times a second',
    commands: ['fault intermittent 40 ring.curl'],
    check: verdict('ring.curl', 'intermittent'),
    status: sensor('ring.curl', 'intermittent'),
  },
  {
    name: 'noise of 20 times the usual',
    commands: ['fault noisy 20 index.curl'],
    check: verdict('index.curl', 'noisy'),
    status: sensor('index.curl', 'noisy'),
  },
  {
    name: 'noise of 40 times the usual',
    commands: ['fault noisy 40 little.curl'],
    check: verdict('little.curl', 'noisy'),
    status: sensor('little.curl', 'noisy'),
  },
  {
    name: 'noise of 5 times its siblings: still usable, the next to fail',
    commands: ['fault noisy 5 middle.curl'],
    check: /^middle\.curl healthy: .*\d times that of its siblings$/m,
  },
  {
    name: 'a sensor is wound the other way round',
    commands: ['fault reversed ring.curl'],
    check: verdict('ring.curl', 'reversed'),
  },
  {
    name: 'a spool is too large: the sensor hardly turns',
    commands: ['fault short index.curl'],
    check: verdict('index.curl', 'shortRange'),
  },
  {
    name: 'a clamp creeps, 2 % of the converter a second',
    usedS: 35,
    commands: ['fault drifting 0.02 little.curl'],
    check: verdict('little.curl', '(drifting|railed)'),
    status: sensor('little.curl', '\\w+'),
  },
  {
    name: 'a string stretches slowly, 0.4 % a second',
    commands: ['fault drifting 0.004 index.curl'],
    check: verdict('index.curl', 'drifting'),
  },
  {
    name: 'the firmware does not send a channel',
    commands: ['fault missing ring.curl'],
    check: verdict('ring.curl', 'missing'),
    status: sensor('ring.curl', 'in the profile, but the glove does not send it'),
  },
  {
    name: 'two neighbouring plugs are exchanged',
    commands: ['swap middle.curl ring.curl'],
    check: /^middle\.curl swapped:.*^ring\.curl swapped:/ms,
  },
  {
    name: 'two distant plugs are exchanged',
    commands: ['swap thumb.curl little.curl'],
    check: /^thumb\.curl swapped:.*^little\.curl swapped:/ms,
  },
  {
    name: 'two plugs are exchanged, and one sensor is reversed',
    commands: ['swap index.curl ring.curl', 'fault reversed index.curl'],
    check: /^(index|ring)\.curl swapped: .*reversed as well$/m,
  },
  {
    name: 'a wire couples into its neighbour, by half',
    commands: ['cross-talk index.curl little.curl 0.5'],
    check: verdict('index.curl', 'crossTalk'),
    // What couples in adds to the finger's own: the sum runs into the converter's end.
    status: sensor('index.curl', 'at an end'),
  },
  {
    name: 'a wire couples into its neighbour, by a quarter',
    commands: ['cross-talk thumb.curl ring.curl 0.25'],
    check: verdict('thumb.curl', 'crossTalk'),
    // What couples in adds to the finger's own: the sum runs into the converter's end.
    status: sensor('thumb.curl', 'at an end'),
  },
  {
    name: 'the supply of all sensors is off',
    commands: ofAll((role) => `fault railed 0 ${role}`),
    check: /every sensor reads 0: their supply is off/,
    status: sensor('thumb.curl', 'at an end'),
  },
  {
    name: 'the ground of all sensors is off',
    commands: ofAll((role) => `fault railed 1 ${role}`),
    check: /every sensor reads full scale: their ground is off/,
    status: sensor('thumb.curl', 'at an end'),
  },
  { name: 'nobody wears the glove', still: true, check: /Wear the glove and begin again/ },
  {
    name: 'an axis of the stick is dead',
    ...STICKS,
    commands: ['fault dead stick.x'],
    check: verdict('stick.x', 'dead'),
  },
  {
    name: 'a wire of the stick is off',
    ...STICKS,
    commands: ['fault railed 0 stick.y'],
    check: verdict('stick.y', 'railed'),
    status: sensor('stick.y', 'at an end'),
  },
  {
    name: 'a stick that hardly reaches',
    ...STICKS,
    commands: ['fault short stick.y'],
    check: verdict('stick.y', 'shortRange'),
  },
  {
    name: 'a button that touches ground',
    ...STICKS,
    commands: ['button 0 1'],
    unpressed: 'a',
    check: verdict('button a', 'stuck'),
    status: /^button a: It has been pressed/m,
  },
  { name: 'a button whose wire is off', ...STICKS, unpressed: 'a', check: verdict('button a', 'notPressed') },
  {
    name: 'a stick that the profile does not name',
    roles: [...CURLS, ...STICK],
    named: CURLS,
    check: /sends stick\.x and stick\.y/,
    status: /^profile: .*stick\.x and stick\.y/m,
  },
  {
    name: 'a button that the profile does not name',
    commands: ['button 3 1'],
    check: /^profile: .*button 3/m,
    status: /^profile: .*button 3/m,
  },
  {
    name: 'a servo stronger than the profile permits',
    profile: ({ gloves: [glove] }) => Object.assign(glove.actuators[1], { stallTorqueNm: 0.9 }),
    status: /^forces: index stays free/m,
  },
  { name: 'a battery that is nearly empty', commands: ['battery 3000'], status: /^glove: .*supply is low/m },
  { name: 'a servo driver that is too warm', commands: ['temperature 95'], status: /^glove: .*too warm/m },
  {
    name: 'a servo that its driver reports as broken',
    commands: ['board-faults 4'],
    status: /^glove: .*an actuator does not work/m,
  },
  {
    name: 'the cable is cut',
    chain: { cable: undefined },
    meanwhile: (chain, second) => void (second === 5 && chain.step(['cut'])),
    check: /No samples/,
    status: /^samples: No samples/m,
  },
  {
    name: 'a USB plug that loses contact again and again',
    meanwhile: (chain, second) => chain.enter(second % 2 === 0 ? 'waiting' : 'live'),
    check: /./,
    status: /^link: The link broke \d times in the last five minutes/m,
  },
  {
    name: 'one byte in 200 arrives damaged',
    chain: { cable: damaged(200) },
    check: /^link not well/m,
    status: /^link: .*arrived damaged/m,
  },
  {
    name: 'the wrong baud rate',
    chain: { cable: garbled(), unheard: true },
    check: /cannot be read.*baud rate/,
    status: /^link: .*cannot be read.*baud rate/m,
  },
  {
    name: 'a glove that sends text where frames are expected',
    chain: { cable: asText(), unheard: true },
    check: /sends text/,
    status: /^link: .*sends text.*codec/m,
  },
  {
    name: 'the wire to the board (RX) is off: it does not hear',
    chain: { cable: deaf(), unheard: true },
    check: /does not say what they are/,
    status: /^link: .*does not hear/m,
  },
  {
    name: "the profile's port is not there",
    chain: { unheard: true },
    meanwhile: (chain) => chain.enter('waiting', missingPort),
    facts: { gloveLinks: [{ glove: 'host glove', wants: '/dev/ttyUSB7', there: false }] },
    check: /does not exist/,
    status: /^link: \/dev\/ttyUSB7 does not exist/m,
  },
  {
    name: 'strings that hang slack: no servo can hold',
    chain: { gloveArgs: ['--physics'] },
    commands: ['slack 90'],
    unseen: 'sensors and servos work; `tautline fit --actuators` finds it',
  },
];

export interface Said {
  /** `index.curl dead: evidence`, a line each; or why there was no check. */
  check: string;
  /** Notes that status makes on the glove, `what: says remedy`. */
  status: string;
  /** What doctor finds of it. */
  doctor: string;
}

const STEP_MS = 50;
/** Motion that is sent in one go: what the wearer is asked meanwhile waits for the next. */
const GO_MS = 500;
const USED_S = 10;

/** Wears a glove with this fault for some seconds, asks, then leads it through the check. */
export async function tell(fault: TrialFault, seed: number): Promise<Said> {
  const { roles = CURLS, buttons = {} } = fault;
  const profile = turnedProfile('right', undefined, { roles: fault.named ?? roles, buttons });
  fault.profile?.(profile);
  const chain = await startTurnedChain({
    profile,
    stepMs: STEP_MS,
    ...fault.chain,
    gloveArgs: ['--rate', '100', '--seed', String(seed), '--physics', '--channels', roles.join(',')],
    before: fault.commands,
  });
  try {
    const wearer = createWearer({ seed });
    const channels = roles.map((role) => ({ role, ...placeOf(role as ChannelRole) })) as unknown as Channel[];
    const first = checkMoves(channels, Object.keys(buttons).length);
    const named = new Map(first.map((move) => [move.name as string, move]));
    // In use: fists and flat hands, a finger now and then; no stick, no buttons.
    const poses = first.filter(({ kind }) => kind !== 'sweep');
    for (let second = 0; second < (fault.usedS ?? USED_S); second++) {
      fault.meanwhile?.(chain, second);
      const move = fault.still ? first[0] : poses[Math.floor(second / 1.5) % poses.length];
      for (let go = 0; go < 1000; go += GO_MS) await pass(chain, roles, wearer, move, fault);
    }
    const status = notes(chain);
    const doctor = doctored(chain, fault);
    return { check: await check(chain, fault, roles, wearer, named), status, doctor };
  } finally {
    await chain.end();
  }
}

async function pass(
  chain: TurnedChain,
  roles: readonly string[],
  wearer: ReturnType<typeof createWearer>,
  move: Move | undefined,
  { unpressed, buttons = {} }: TrialFault,
): Promise<void> {
  const fromMs = chain.clock.nowUs() / 1000;
  const steps = Array.from({ length: GO_MS / STEP_MS }, (_, k) => {
    const hand = wearer.at(move, (fromMs + (k + 1) * STEP_MS) / 1000);
    const values = roles.map((role) => {
      const finger = FINGERS.findIndex((name) => role === `${name}.curl`);
      return finger >= 0 ? hand.curls[finger] : (hand.controls[role as 'stick.x'] + 1) / 2;
    });
    const commands = [`pose ${STEP_MS} ${values.map((value) => value.toFixed(4)).join(' ')}`];
    if (move?.kind === 'sweep' && k === 0) {
      for (const [name, bit] of Object.entries(buttons)) {
        if (name !== unpressed) commands.push(`button ${bit} ${Math.floor(fromMs / GO_MS) % 2}`);
      }
    }
    return commands;
  });
  await chain.steps(STEP_MS, steps);
}

const notes = ({ glove }: TurnedChain): string =>
  [
    ...glove.readTroubles().map(({ what, says, remedy = '' }) => `${what}: ${says} ${remedy}`.trim()),
    ...unusedLines(glove.description.actuators).map(({ says, remedy }) => `forces: ${says} ${remedy}`),
  ].join('\n');

/** Lines of doctor that are not about the machine. */
function doctored({ glove }: TurnedChain, { facts = {} }: TrialFault): string {
  const { description } = glove;
  const asked = {
    ...GLOVE,
    name: 'host glove',
    troubles: glove.readTroubles(),
    unused: unusedLines(description.actuators),
  };
  const service = { state: 'running', version: well.version, address: 'here', gloves: [asked] } as const;
  return examine({ ...well, service, ...facts })
    .filter(({ what, state }) => what.includes('host glove') && state !== 'fine')
    .map(({ what, state, says, remedy = '' }) => `${state}, ${what}: ${says} ${remedy}`.trim())
    .join('\n');
}

/** Bytes come every 50 ms here, so that time passes quickly. */
const ONLY_BUNCHES = /^Samples arrive in bunches[^.]*\.$/;

async function check(
  chain: TurnedChain,
  fault: TrialFault,
  roles: readonly string[],
  wearer: ReturnType<typeof createWearer>,
  named: ReadonlyMap<string, Move>,
): Promise<string> {
  const { glove } = chain;
  // As `tautline check` does: it waits for a glove that sends, and says why none does.
  for (let second = 0; second < 8 && !glove.frame.valid; second++) {
    fault.meanwhile?.(chain, second);
    await chain.wait(1000);
  }
  if (!glove.frame.valid) return `no check: ${glove.frame.reason}`;
  const asked = new Map<number, Move>();
  glove.guide.start('check');
  for (let second = 0; glove.guide.running() && second < 150; second += GO_MS / 1000) {
    if (Number.isInteger(second)) fault.meanwhile?.(chain, second);
    const { move } = glove.guide.read();
    if (move && !asked.has(move.number)) {
      const finger = FINGERS.indexOf(move.name as 'index');
      const again = /other hand holds/.test(move.prompt);
      asked.set(move.number, again ? loneWithOthersHeld(finger) : named.get(move.name)!);
    }
    await pass(chain, roles, wearer, fault.still ? undefined : move && asked.get(move.number), fault);
  }
  const { check: found, reason } = glove.guide.read();
  if (!found) return `no check: ${reason}`;
  const unnamed = glove.readTroubles().filter(({ what }) => what === 'profile');
  return [
    ...found.channels.map(({ role, verdict: kind, evidence }) => `${role} ${kind}: ${evidence}`),
    ...(found.buttons ?? []).map(
      ({ name, verdict: kind, evidence }) => `button ${name} ${kind}: ${evidence}`,
    ),
    ...(found.link.ok || ONLY_BUNCHES.test(found.link.remedy) ? [] : [`link not well: ${found.link.remedy}`]),
    ...unnamed.map(({ what, says }) => `${what}: ${says}`),
  ].join('\n');
}

export interface Row {
  name: string;
  said: Said;
  /** What is said is what would be right; undefined: there is nothing that could be said. */
  right: { check: boolean; status: boolean; doctor: boolean };
  unseen?: string;
}

/** Every fault, a few at a time. */
export async function faultTable(seed = 1, atOnce = 4): Promise<Row[]> {
  const rows: Row[] = [];
  const waiting = [...TRIAL_FAULTS.entries()];
  const work = async () => {
    for (let next = waiting.shift(); next; next = waiting.shift()) {
      const [k, fault] = next;
      const said = await tell(fault, 100 * seed + k);
      rows[k] = { name: fault.name, said, right: judge(fault, said), unseen: fault.unseen };
    }
  };
  await Promise.all(Array.from({ length: atOnce }, work));
  return rows;
}

function judge(fault: TrialFault, { check: told, status, doctor }: Said): Row['right'] {
  const about = fault.about ?? CURLS.concat(STICK).filter((role) => fault.commands?.join().includes(role));
  const named = (text: string) =>
    !CURLS.concat(STICK).some((role) => !about.includes(role) && ILL(role).test(text));
  const expected = fault.check ? fault.check.test(told) : !told.startsWith('no check');
  return {
    check: expected && named(told),
    status: fault.status ? fault.status.test(status) : status === '',
    // The doctor says of a running glove what the service says.
    doctor: (doctor === '') === (status === '' && !fault.facts),
  };
}

/** A channel that the check found to be ill. */
const ILL = (role: string) => new RegExp(`^${role} (?!healthy)\\w+:`, 'm');

const marks = (right: boolean) => (right ? 'right' : '**wrong**');
/** Without the numbers, which a compiler may round otherwise. */
export const withoutNumbers = (text: string): string => text.replace(/\d+(\.\d+)?/g, '#');
const cell = (text: string) => text.replace(/\|/g, '\\|').replace(/\n/g, '<br>');
const LONGEST = 200;
const cut = (line: string) =>
  line.length > LONGEST ? `${line.slice(0, LONGEST).replace(/ \S*$/, '')} …` : line;

/** docs/faults.md. */
export function faultDocument(rows: readonly Row[]): string {
  const said = rows.map(({ said: { check: told, status } }) => ({
    // Of what is well, only that something else is said of it.
    check: told
      .split('\n')
      .filter((line) => !/ healthy: (uses|goes)[^;]*counts$/.test(line) && !/^button \w+ healthy/.test(line))
      .slice(0, 2)
      .map(cut)
      .join('\n'),
    status: status.split('\n').slice(0, 1).map(cut).join('\n'),
  }));
  const of = (which: keyof Row['right']) => rows.filter(({ right }) => right[which]).length;
  return `<!-- Written by scripts/fault-table.ts: change it there. -->

# What is said of which fault

${rows.length} faults that makers make and gloves get, each put into the firmware with the physical model of a hand, on its line, or into
the profile, and what the commands say of it. \`check\` asks a simulated wearer for moves; \`status\` is asked after ten
seconds of use, without any check. \`doctor\` says of a glove what \`status\` says; it was right ${of('doctor')} times of ${rows.length}.
\`check\` was right ${of('check')} times, \`status\` ${of('status')} times. A fault that takes a move to be seen is rightly no matter for \`status\`:
then "nothing" is right. Long lines are cut.

| what is wrong | \`check\` | | \`status\` | |
|---|---|---|---|---|
${rows
  .map(({ name, right, unseen }, k) => {
    const [told, status] = [said[k].check || 'all well', said[k].status || 'nothing'];
    const note = unseen ? `${cell(name)} (not seen: ${unseen})` : cell(name);
    return `| ${note} | ${cell(told)} | ${marks(right.check)} | ${cell(status)} | ${marks(right.status)} |`;
  })
  .join('\n')}

What is known to be wrong: an input without a pull-down keeps the charge of the channel that was read before, so that an open
wiper looks like a finger that moves along and drifts. [Wiring](wiring.md#potentiometers) has the pull-down.
\`npx tsx scripts/fault-table.ts\` writes this page again; a test compares it with what is said now, number by number left out.
`;
}
