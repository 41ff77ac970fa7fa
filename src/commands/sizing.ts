import { type Command, InvalidArgumentError, Option } from 'commander';
import { askRadius, askTorque } from '../config/plausible-parts.js';
import { TautlineError } from '../errors.js';
import { FINGERS, type Finger } from '../hand/joints.js';
import type { Sizing, SizingInput } from '../sensing/sizing.js';
import { wrap } from './shared/wrap.js';

type Numbers = { [K in keyof SizingInput as SizingInput[K] extends number ? K : never]: number };

/** What is odd about a value, if anything is. */
type Ask = (value: number) => string | undefined;
/** Option, its unit, its meaning, the range in which it makes sense, and what is asked about values in it. */
const OPTIONS: Record<keyof Numbers, [flag: string, text: string, min: number, max: number, ask?: Ask]> = {
  spoolRadiusMm: ['--spool <mm>', 'radius of the spool on the potentiometer', 0.0001, 1000, askRadius],
  potTravelDeg: ['--pot <deg>', 'turn over which the potentiometer reads 0 to full', 10, 36000],
  converterBits: ['--bits <n>', 'bits of the converter', 6, 16],
  handLengthMm: ['--hand <mm>', 'wrist crease to the tip of the middle finger', 100, 300],
  servoTorqueNm: ['--torque <Nm>', 'stall torque of the servo (1.5 kg cm is 0.15)', 0.0001, 1000, askTorque],
  servoS60: ['--speed <s>', 'time of the servo for 60 degrees', 0.01, 5],
  servoRadiusMm: ['--servo-spool <mm>', 'radius at which the servo pulls', 0.0001, 1000, askRadius],
  servoStallA: ['--stall <A>', 'current of one stalled servo', 0.01, 50],
  servos: ['--servos <n>', 'servos on the supply', 1, 16],
  supplyA: ['--supply <A>', 'what the supply gives without sagging', 0.1, 100],
  idleA: ['--rest <A>', 'current of board and servos at rest', 0.001, 20],
  heldPart: ['--held <part>', 'part of the time that fingers are held, 0 to 1', 0, 1],
  batteryMah: ['--battery <mAh>', 'capacity, for the run time', 1, 1e6],
  maxTensionN: ['--cap <N>', 'largest tension wanted', 0.1, 50],
  potOhms: ['--pot-ohms <ohm>', 'resistance of a potentiometer', 100, 1e6],
  servoSwingDeg: ['--swing <deg>', 'turn of the servo over all its pulses', 20, 3600],
  servoLowUs: ['--pulse-low <us>', 'its pulse at one end of that turn', 400, 2600],
  servoHighUs: ['--pulse-high <us>', 'its pulse at the other end', 400, 2600],
  servoVolts: ['--volts <V>', 'at the servos', 3, 24],
  cellVolts: ['--cell <V>', 'battery that feeds them through a boost converter, such as 3.7', 1, 24],
  boostEfficiency: ['--efficiency <part>', 'of that converter, 0 to 1', 0.3, 1],
  cellC: ['--cell-c <C>', 'most that the battery may give, in capacities an hour', 0.1, 100],
  cableM: ['--cable <m>', 'length from supply to servos, one way', 0.01, 20],
  wireMm2: ['--wire <mm2>', 'cross-section of each of its wires', 0.05, 10],
};
const BOARDS = ['ratiometric', 'esp32'] as const satisfies readonly SizingInput['board'][];
const COLUMNS = 80;

export function addSizingCommand(program: Command): void {
  const command = program
    .command('sizing')
    .description('Before you buy or print: what a spool, a potentiometer, a servo and a supply will do.');
  for (const [flag, text, min, max, ask] of Object.values(OPTIONS)) {
    command.option(flag, text, numberWithin(min, max, ask));
  }
  command
    .addOption(
      new Option('--board <kind>', 'the converter: its reference is the rail, or that of an ESP32').choices(
        BOARDS,
      ),
    )
    .option('--heights <mm,mm,mm>', 'string over knuckle, middle and last joint, from your ruler', heights)
    .option('--heights-of <finger:mm,mm,mm...>', 'the same of single fingers', heightsOfFingers)
    .option('--lines', 'print the lines of a profile with these parts')
    .option('--compare <files...>', 'two or more lists of parts, as --json prints them, side by side')
    .option('--json', 'print JSON')
    .addHelpText(
      'after',
      '\nExamples:\n  tautline sizing --spool 9 --pot 300 --torque 0.16 --battery 2500\n  tautline sizing --board esp32 --servo-spool 19 --lines\n  tautline sizing --compare small.json large.json',
    )
    .action(size);
}

async function size(options: Record<string, unknown>): Promise<void> {
  const { sizeGlove, SIZING_DEFAULTS } = await import('../sensing/sizing.js');
  if (options.compare) return compare(options.compare as string[]);
  const input: SizingInput = { ...SIZING_DEFAULTS };
  for (const [key, [flag]] of Object.entries(OPTIONS)) {
    const given = options[nameOf(flag)];
    if (given !== undefined) input[key as keyof Numbers] = given as number;
  }
  if (options.board) input.board = options.board as SizingInput['board'];
  if (options.heights) input.heightsMm = options.heights as [number, number, number];
  if (options.heightsOf) input.fingerHeightsMm = options.heightsOf as SizingInput['fingerHeightsMm'];
  if (input.servoHighUs <= input.servoLowUs) {
    throw new TautlineError('usage', '--pulse-high must be above --pulse-low.', 'Give them in microseconds.');
  }
  const sizing = sizeGlove(input);
  if (options.json) {
    const { figures, warnings, fingers, profile } = sizing;
    const plain = Object.fromEntries(figures.map(({ name, value, unit }) => [name, { value, unit }]));
    console.log(JSON.stringify({ input, figures: plain, fingers, profile, warnings }, null, 2));
    return;
  }
  const { round } = await import('../sensing/sizing.js');
  for (const line of sizingLines(sizing, round)) console.log(line);
  if (options.lines) for (const line of ['', ...sizing.profile]) console.log(line);
}

type Round = (x: number, digits?: number) => string;

/** For a terminal of 80 columns. */
function sizingLines({ figures, fingers, warnings }: Sizing, round: Round): string[] {
  const lines = figures.flatMap(({ text, value, unit, formula }) => [
    `${text.padEnd(42)}${round(value).padStart(8)} ${unit}`,
    ...wrap(formula, COLUMNS - 4).map((line) => `    ${line}`),
  ]);
  lines.push('', 'finger    string  turn used  servo swing  pulses of the servo  deg a count');
  for (const { finger, excursionMm, usedPart, swingDeg, pulsesUs, degreesPerCount } of fingers) {
    const cells = [
      `${round(excursionMm)} mm`.padStart(8),
      `${round(usedPart * 100)} %`.padStart(9),
      `${round(swingDeg)} deg`.padStart(11),
      `${pulsesUs.join(' to ')} us`.padStart(19),
      round(degreesPerCount).padStart(11),
    ];
    lines.push(`${finger.padEnd(8)}${cells.join('  ')}`);
  }
  lines.push('');
  if (warnings.length === 0) lines.push('Nothing to warn of.');
  for (const warning of warnings) {
    for (const [i, line] of wrap(warning, COLUMNS - 2).entries())
      lines.push(`${i === 0 ? '! ' : '  '}${line}`);
  }
  return lines;
}

/** Lists of parts beside each other, a figure a line. */
async function compare(files: readonly string[]): Promise<void> {
  const { round, sizeGlove } = await import('../sensing/sizing.js');
  if (files.length < 2) {
    throw new TautlineError('usage', '--compare needs two lists of parts.', 'Write them with --json.');
  }
  const sizings = await Promise.all(files.map(async (file) => sizeGlove(await readParts(file))));
  const width = Math.max(12, ...files.map((file) => file.length + 2));
  console.log(`${''.padEnd(50)}${files.map((file) => file.padStart(width)).join('')}`);
  const names = new Map(
    sizings.flatMap(({ figures }) =>
      figures.map(({ name, text, unit }) => [name, `${text.slice(0, 42)}, ${unit}`] as const),
    ),
  );
  for (const [name, text] of names) {
    const cells = sizings.map(({ figures }) => {
      const found = figures.find((figure) => figure.name === name);
      return (found ? round(found.value) : '-').padStart(width);
    });
    console.log(`${text.padEnd(50)}${cells.join('')}`);
  }
  for (const [i, { warnings }] of sizings.entries()) {
    const count = warnings.length === 0 ? 'nothing to warn of' : `${warnings.length} to look at`;
    console.log(`\n${files[i]}: ${count}.`);
    for (const warning of warnings) {
      for (const [k, line] of wrap(warning, COLUMNS - 2).entries())
        console.log(`${k === 0 ? '! ' : '  '}${line}`);
    }
  }
}

/** The `input` of what --json printed, or the parts alone; what is left out is as usual. */
async function readParts(file: string): Promise<SizingInput> {
  const [{ readFile }, { SIZING_DEFAULTS }] = await Promise.all([
    import('node:fs/promises'),
    import('../sensing/sizing.js'),
  ]);
  const text = await readFile(file, 'utf8').catch(() => {
    throw new TautlineError('fileNotFound', `${file}: it cannot be read.`, 'Check the path.');
  });
  const invalid = (why: string) =>
    new TautlineError('fileInvalid', `${file}: ${why}.`, 'Write it with `tautline sizing --json`.');
  let parts: Record<string, unknown>;
  try {
    const data = JSON.parse(text) as { input?: Record<string, unknown> };
    parts = data.input ?? (data as Record<string, unknown>);
  } catch {
    throw invalid('it is not JSON');
  }
  if (typeof parts !== 'object' || parts === null || Array.isArray(parts)) throw invalid('it holds no parts');
  const input: Record<string, unknown> = { ...SIZING_DEFAULTS };
  for (const [key, value] of Object.entries(parts)) {
    const option = OPTIONS[key as keyof Numbers];
    if (option) {
      const [, , min, max] = option;
      // 0 stands for: there is none.
      const none = value === 0 && SIZING_DEFAULTS[key as keyof Numbers] === 0;
      if (typeof value !== 'number' || !(none || (value >= min && value <= max)))
        throw invalid(`${key} must be a number from ${min} to ${max}`);
    } else if (key === 'board') {
      if (!(BOARDS as readonly unknown[]).includes(value))
        throw invalid(`board is one of ${BOARDS.join(', ')}`);
    } else if (key === 'heightsMm') {
      if (!isHeights(value)) throw invalid('heightsMm are three heights in mm');
    } else if (key === 'fingerHeightsMm') {
      const all = Object.entries((value ?? {}) as object);
      if (!all.every(([finger, own]) => isFinger(finger) && isHeights(own)))
        throw invalid('fingerHeightsMm has three heights in mm by finger');
    } else throw invalid(`${key.slice(0, 40)} is no part`);
    input[key] = value;
  }
  return input as unknown as SizingInput;
}

/** Name that the parser gives the value of a flag. */
const nameOf = (flag: string) =>
  flag
    .slice(2)
    .split(' ')[0]
    .replace(/-(\w)/g, (_, letter: string) => letter.toUpperCase());

function numberWithin(min: number, max: number, ask?: Ask): (text: string) => number {
  return (text) => {
    const value = Number(text);
    if (text.trim() === '' || !(value >= min && value <= max)) {
      throw new InvalidArgumentError(`Give a number from ${min} to ${max}.`);
    }
    const odd = ask?.(value);
    if (odd) throw new InvalidArgumentError(`${odd}.`);
    return value;
  };
}

const isHeights = (value: unknown): value is [number, number, number] =>
  Array.isArray(value) && value.length === 3 && value.every((one) => one > 0 && one <= 60);
const isFinger = (name: string): name is Finger => (FINGERS as readonly string[]).includes(name);

function heights(text: string): [number, number, number] {
  const values = text.split(',').map(Number);
  if (!isHeights(values)) throw new InvalidArgumentError('Give three heights in mm, such as 12,8,6.');
  return values;
}

/** May be given several times. */
function heightsOfFingers(
  text: string,
  before: SizingInput['fingerHeightsMm'],
): SizingInput['fingerHeightsMm'] {
  const [finger, values = ''] = text.split(':');
  if (!isFinger(finger)) throw new InvalidArgumentError('Write such as thumb:9,10,8.');
  return { ...before, [finger]: heights(values) };
}
