import { type Command, InvalidArgumentError, Option } from 'commander';
import type { NewGlove } from '../config/new-profile.js';
import { TautlineError } from '../errors.js';
import type { GuideReport } from '../guide/report.js';
import type { Acquaintance } from '../guide/unknown/acquaint.js';
import { HAND_SIDES, type HandSide } from '../hand/joints.js';
import type { Met } from '../link/meet.js';
import type { GuideClient } from './shared/guide-client.js';
import { followGuide } from './shared/guide-screen.js';

interface NewOptions {
  port?: string;
  baud?: number;
  hand?: HandSide;
  name?: string;
  simulated?: boolean;
  still?: boolean;
}

/** Rates of boards, the commonest first. Common practice. */
const BAUDS = [115200, 230400, 57600, 9600, 250000, 460800, 921600, 38400, 1000000];
const NOTHING_MOVED =
  'Nothing moved when it was asked to: wear the glove, or check the plug, supply and ground of its sensors.';
const DEFAULT_FILE = 'my-glove.yaml';

export function addNewCommand(program: Command): void {
  program
    .command('new [file]')
    .description('Connect to a glove that nobody has described yet, and write its profile.')
    .option('--port <path>', 'its serial port; needed when there are several')
    .option('--baud <rate>', 'bits a second; tries the usual ones when left out', baudRate)
    .addOption(new Option('--hand <side>', 'which hand, when the glove does not say it').choices(HAND_SIDES))
    .option('--name <name>', 'your name for it', 'My glove')
    .option('--simulated', 'the simulated glove, to see what a profile looks like')
    .option('--still', 'ask for no moves: write what the glove says of itself alone')
    .addHelpText(
      'after',
      `
Examples:
  tautline new
  tautline new my-glove.yaml --port /dev/ttyUSB0
  tautline new --simulated

The file is ${DEFAULT_FILE} when left out, and never overwritten. No force is possible meanwhile: nothing but a request to
describe itself is sent to the glove. A glove that speaks frames says what its channels are, and you show their ends; one
that prints lines of numbers is watched while you move one finger after the other.`,
    )
    .action(newProfile);
}

async function newProfile(file: string | undefined, options: NewOptions): Promise<void> {
  const path = file ?? DEFAULT_FILE;
  const [{ existsSync }, { writeFile }] = await Promise.all([import('node:fs'), import('node:fs/promises')]);
  if (existsSync(path)) {
    throw new TautlineError(
      'fileDenied',
      `${path} is there already.`,
      'Name another file; nothing is overwritten.',
    );
  }
  const out = process.stdout;
  const { met, link } = await meet(options);
  let found: Awaited<ReturnType<typeof getToKnow>>;
  try {
    found = await getToKnow(met, options, out);
  } finally {
    await met.close();
  }
  if (!found) return;
  const { newProfileText } = await import('../config/new-profile.js');
  const text = newProfileText({ name: options.name ?? 'My glove', link: link(met.baud), ...found });
  // What this program writes, it can read.
  const { parseProfile } = await import('../config/load.js');
  parseProfile(text, path);
  try {
    await writeFile(path, text, { flag: 'wx' });
  } catch (error) {
    const { code } = error as NodeJS.ErrnoException;
    throw new TautlineError('fileDenied', `${path}: it cannot be written (${code}).`, 'Name another file.');
  }
  for (const line of newLines(path, found)) out.write(`${line}\n`);
}

type Found = ReturnType<Acquaintance['found']>;

/** Opens the port that is meant, and finds out how the glove talks. */
async function meet(options: NewOptions): Promise<{ met: Met; link: (baud: number) => NewGlove['link'] }> {
  const { meetGlove } = await import('../link/meet.js');
  if (options.simulated) {
    const { simulatedPort } = await import('../link/simulated-port.js');
    const hand = options.hand ?? 'right';
    const open = () => simulatedPort({ hand, sampleRateHz: 500, seed: 1 });
    const met = await meetGlove({ open, bauds: [0], where: 'the simulated glove' });
    return { met, link: () => ({ kind: 'simulated' }) };
  }
  const { serialPort } = await import('../link/serial-port.js');
  const path = options.port ?? (await onlyPort());
  const met = await meetGlove({
    open: (baud) => serialPort({ path, baud }),
    bauds: options.baud === undefined ? BAUDS : [options.baud],
    where: path,
  });
  return { met, link: (baud) => ({ kind: 'serial', path, baud }) };
}

async function onlyPort(): Promise<string> {
  const { describePort, listPorts } = await import('../link/list-ports.js');
  const all = await listPorts();
  const usb = all.filter(({ vendor }) => vendor !== undefined);
  const ports = usb.length > 0 ? usb : all;
  if (ports.length === 1) return ports[0].stablePath ?? ports[0].path;
  if (ports.length === 0) {
    throw new TautlineError(
      'portMissing',
      'There is no serial port here.',
      'Plug the glove in (a charge-only cable does not work), or name its port with --port.',
    );
  }
  throw new TautlineError(
    'usage',
    `There are ${ports.length} ports: ${ports.map(describePort).join('; ')}.`,
    'Name the one of the glove with --port.',
  );
}

async function getToKnow(met: Met, options: NewOptions, out: NodeJS.WriteStream): Promise<Found | undefined> {
  const acquaintance = met.hello ? await byHello(met) : await byLines(met, options, out);
  const still = options.still || options.simulated;
  if (!met.hello && still) {
    throw new TautlineError(
      'usage',
      'Lines of text say nothing of themselves without moves.',
      'Leave out --still.',
    );
  }
  if (!still && !(await lead(acquaintance, met, out))) {
    out.write('Given up; nothing was written.\n');
    return undefined;
  }
  const found = acquaintance.found();
  if (!met.hello && options.hand === undefined) return { ...found, handGuessed: true };
  return found;
}

async function byHello(met: Met): Promise<Acquaintance> {
  const { acquaintByHello } = await import('../guide/unknown/acquaint.js');
  const acquaintance = acquaintByHello(met.hello!);
  const timeS = risingTime();
  met.listen({
    samples: ({ channels, buttons }, atUs) => acquaintance.sample(channels, timeS(atUs), buttons),
  });
  return acquaintance;
}

const LINES_TO_JUDGE = 80;
const JUDGE_WITHIN_MS = 4000;

async function byLines(met: Met, { hand }: NewOptions, out: NodeJS.WriteStream): Promise<Acquaintance> {
  const [{ acquaintByLines }, { clockworkOf, formatOf, numbersOf }] = await Promise.all([
    import('../guide/unknown/acquaint.js'),
    import('../guide/unknown/line-format.js'),
  ]);
  out.write('It sends lines of text. Keep the hand still for a moment.\n');
  const seen: { line: string; atUs: number }[] = [];
  await new Promise<void>((resolve) => {
    const timer = setTimeout(resolve, JUDGE_WITHIN_MS);
    met.listen({
      line(line, atUs) {
        if (seen.push({ line, atUs }) < LINES_TO_JUDGE) return;
        clearTimeout(timer);
        resolve();
      },
    });
  });
  const format = formatOf(seen.map(({ line }) => line));
  if (!format) {
    throw new TautlineError(
      'notSupported',
      seen.length === 0
        ? 'No whole line came.'
        : `The lines are no numbers with one separator in between: ${seen[seen.length - 1].line.slice(0, 60)}`,
      'One line has to be one reading, with its columns always in the same places; see config/text-lines.yaml.',
    );
  }
  const rows = seen.flatMap(({ line, atUs }) => {
    const values = numbersOf(line, format);
    return values ? [{ values, atS: atUs / 1e6 }] : [];
  });
  const times = rows.map(({ atS }) => atS);
  const values = rows.map((row) => row.values);
  const rateHz = (rows.length - 1) / (times[times.length - 1] - times[0]);
  const acquaintance = acquaintByLines(format, clockworkOf(values, times), values, rateHz, hand ?? 'right');
  const timeS = risingTime();
  met.listen({
    line(line, atUs) {
      const numbers = numbersOf(line, format);
      if (numbers) acquaintance.sample(numbers, timeS(atUs));
    },
  });
  return acquaintance;
}

/** Readings that arrive together still follow one another. */
function risingTime(): (atUs: number) => number {
  let last = Number.NEGATIVE_INFINITY;
  return (atUs) => {
    last = Math.max(atUs / 1e6, last + 1e-4);
    return last;
  };
}

/** Leads the wearer through the moves. @returns false when given up */
async function lead({ run }: Acquaintance, met: Met, out: NodeJS.WriteStream): Promise<boolean> {
  out.write('Wear it, servos unplugged, and do what each line says.\n');
  const report = (): GuideReport => {
    const common = { hand: 'right', glove: '', task: 'check' } as const;
    if (run.abandoned) return { ...common, state: 'stopped', reason: NOTHING_MOVED };
    if (run.finished) return { ...common, state: 'done' };
    if (met.ended) return { ...common, state: 'stopped', reason: met.ended.line };
    const { name, prompt } = run.moves[run.at];
    const move = { name, prompt, number: run.at + 1, count: run.moves.length, part: run.part };
    return { ...common, state: 'running', move };
  };
  let stopped = false;
  const guide: GuideClient = {
    where: 'here',
    own: true,
    close: async () => {},
    async ask<T>(_method: 'GET' | 'POST', path: string): Promise<T> {
      if (path === '/guide/next') run.next();
      if (path === '/guide/stop') stopped = true;
      return report() as T;
    },
  };
  const { state, reason } = await followGuide(guide, report(), out);
  if (state === 'stopped') throw new TautlineError('portFailed', `${reason} Nothing was written.`);
  return !stopped;
}

/** What was found and what comes next, for a terminal of 80 columns. */
export function newLines(
  path: string,
  { channels, actuators, buttonBits, lines, handGuessed }: Found,
): string[] {
  const roles = channels.filter(({ role }) => role !== 'spare').map(({ role }) => role);
  const looks = channels.filter(({ note, counts }) => note !== undefined || counts === undefined).length;
  const count = (n: number, what: string) => `${n} ${what}${n === 1 ? '' : 's'}`;
  const skipped = lines?.columns.filter((column) => column === 'skip').length ?? 0;
  return [
    `${path}: written. ${count(roles.length, 'channel')}, ${count(actuators.length, 'actuator')}, ${count(buttonBits.length, 'button')}.`,
    ...(roles.length === 0 ? ['! No column answered to a finger: see that the sensors are plugged in.'] : []),
    ...(skipped > 0
      ? [`! ${count(skipped, 'column')} answered to nothing, and ${skipped === 1 ? 'is' : 'are'} skipped.`]
      : []),
    ...(handGuessed ? ['! It does not say which hand it is for: see `hand`.'] : []),
    ...(looks > 0 ? [`! Look at the ${count(looks, 'channel')} with a comment.`] : []),
    'Next:',
    `  tautline check --profile ${path}`,
    `  tautline fit --profile ${path}`,
    `  tautline run --profile ${path}`,
  ];
}

function baudRate(text: string): number {
  const value = Number(text);
  if (!Number.isInteger(value) || value < 1200 || value > 4_000_000)
    throw new InvalidArgumentError('Give a whole number from 1200 to 4000000.');
  return value;
}
