import { Argument, type Command, InvalidArgumentError, Option } from 'commander';
import { EXIT_CODE, TautlineError } from '../errors.js';
import type { FeelValues, GloveAnswer } from '../glove/feel-report.js';
import { FINGERS, type Finger } from '../hand/joints.js';
import { FEEL_RANGE, FEELS, type Feel, howToFeel } from '../resistance/wearer-feel.js';
import { addGuideOptions, type GuideClient, type GuideOptions, openGuide } from './shared/guide-client.js';
import { waitForKey } from './shared/guide-screen.js';
import { wrap } from './shared/wrap.js';

interface FeelOptions extends GuideOptions {
  finger: Finger;
  a?: number;
  b?: number;
  rounds: number;
  person?: string;
  json?: boolean;
}

const COLUMNS = 80;
const POLL_MS = 80;
const CTRL_C = '\x03';
const ESCAPE = '\x1b';

export function addFeelCommand(program: Command): void {
  addGuideOptions(
    program
      .command('feel')
      .description('Compare, blind, how forces feel on your own hand; what you prefer is kept for you.')
      .addArgument(
        new Argument('[what]', 'what to compare; left out: print where to begin, for each actuator').choices(
          FEELS,
        ),
      ),
  )
    .addOption(new Option('--finger <finger>', 'on which finger').choices(FINGERS).default('index'))
    .option('--a <value>', "one of the two; a starting value by the actuator's data when left out", Number)
    .option('--b <value>', 'the other; twice or half of that when left out', Number)
    .option('--rounds <n>', 'how often to choose', rounds, 4)
    .option('--person <name>', 'whose hand, when several people wear the glove')
    .option('--json', 'print JSON; prompts go to stderr')
    .addHelpText(
      'after',
      `
Examples:
  tautline feel                                where to begin, and what is in use
  tautline feel stiffness --a 200 --b 600
  tautline feel effort --finger middle --person Kim

In each round you feel a first and a second, as often as you like, without being told which is which, and say which is
better. Only you arm, everything stays within the limits of the profile, no app is served meanwhile, and the glove is
disarmed at the end. What is kept takes away from what apps ask for and adds nothing; \`tautline fit --undo\` goes back.`,
    )
    .action(feel);
}

async function feel(what: Feel | undefined, options: FeelOptions): Promise<void> {
  const client = await openGuide(options);
  try {
    if (what === undefined) await values(client, options);
    else await compare(client, what, options);
  } finally {
    await client.close();
  }
}

async function values(client: GuideClient, { json }: FeelOptions): Promise<void> {
  const found = await client.ask<FeelValues>('GET', '/feel/values');
  if (json) console.log(JSON.stringify(found, null, 2));
  else for (const line of valueLines(found)) console.log(line);
}

/** Where to begin; actuators of which the same is to be said share their lines. */
export function valueLines({ hand, glove, person, inUse, actuators }: FeelValues): string[] {
  const lines = [`${glove} (${hand} hand). To begin with:`];
  const groups = new Map<string, { who: string[]; values: FeelValues['actuators'][number]['values'] }>();
  for (const { role, kind, values: own } of actuators) {
    const key = JSON.stringify([kind, own]);
    const group = groups.get(key) ?? { who: [], values: own };
    group.who.push(role);
    groups.set(key, group);
  }
  for (const { who, values: own } of groups.values()) {
    lines.push(`${who.join(', ')}:`);
    for (const { what, value, against, why } of own) {
      const text = value === undefined ? '-' : `${value}, against ${against}`;
      const first = `  ${what.padEnd(10)} ${text.padEnd(20)} `;
      for (const [i, line] of wrap(why, COLUMNS - first.length).entries()) {
        lines.push(`${i === 0 ? first : ' '.repeat(first.length)}${line}`);
      }
    }
  }
  if (actuators.length === 0) lines.push('  This glove has no actuators.');
  const own = FEELS.flatMap((what) => {
    const value = inUse[FEEL_RANGE[what].key];
    return value === undefined ? [] : [`${what} ${value}`];
  });
  lines.push(
    own.length === 0 ? 'Nothing of your own is in use.' : `In use for ${person ?? 'you'}: ${own.join(', ')}.`,
  );
  return lines;
}

async function compare(client: GuideClient, what: Feel, options: FeelOptions): Promise<void> {
  const out = options.json ? process.stderr : process.stdout;
  const given = Object.entries({ a: options.a, b: options.b, person: options.person }).flatMap(
    ([key, value]) => (value === undefined ? [] : [[key, String(value)]]),
  );
  const first = await begin(client, {
    what,
    finger: options.finger,
    rounds: String(options.rounds),
    by: '`tautline feel`',
    ...Object.fromEntries(given),
  });
  out.write(`${howToFeel(what, options.finger)}\n`);
  out.write(
    'Keep a way to get the hand out. 1, 2: feel the first, the second   Enter: the one you feel is better\n',
  );
  out.write('=: no difference   a: arm, when you are ready   d: disarm   q: give up\n');
  if (!process.stdin.isTTY)
    out.write('No keys here: arm with `tautline arm`, and POST /feel/show and /feel/choose.\n');
  let report: GloveAnswer;
  try {
    report = await follow(client, first, out);
  } catch (error) {
    // Whatever went wrong here, the glove does not stay armed for it.
    await client.ask('POST', '/feel/stop').catch(() => {});
    throw error;
  }
  const { found } = report;
  if (!found) {
    if (process.exitCode !== EXIT_CODE.interrupted) {
      throw new TautlineError(
        'portFailed',
        `The comparison ended early: ${report.reason ?? 'the glove is gone.'}`,
      );
    }
    out.write('Given up; nothing was changed. The glove is disarmed.\n');
    return;
  }
  for (const line of foundLines(found)) out.write(`${line}\n`);
  const { revealed } = found;
  if (revealed.preferred === undefined) out.write('Neither is kept. The glove is disarmed.\n');
  else if (await toBeKept(out, revealed[revealed.preferred], found)) {
    report = await client.ask<GloveAnswer>('POST', '/feel/keep');
    out.write(`Kept for ${found.person}. \`tautline fit --undo\` goes back. The glove is disarmed.\n`);
  }
  if (options.json) console.log(JSON.stringify(report.found, null, 2));
}

/** As soon as the glove sends; says why it does not. */
async function begin(client: GuideClient, query: Record<string, string>): Promise<GloveAnswer> {
  const untilMs = performance.now() + 8000;
  for (;;) {
    try {
      return await client.ask<GloveAnswer>('POST', '/feel', query);
    } catch (error) {
      const waiting = error instanceof TautlineError && error.code === 'tryAgain';
      if (!waiting || performance.now() > untilMs) throw error;
      await new Promise((resolve) => setTimeout(resolve, 200));
    }
  }
}

/** What a key asks for; undefined: nothing. */
export function keyAction(
  key: string,
  report: GloveAnswer,
): { path: string; which?: string } | 'end' | undefined {
  if (key === CTRL_C || key === 'q') return 'end';
  if (key === ESCAPE || key === 'd') return { path: '/disarm' };
  if (key === 'a') return { path: '/arm' };
  if (key === '1' || key === '2') return { path: '/feel/show', which: key === '1' ? 'first' : 'second' };
  if (key === '=') return { path: '/feel/choose', which: 'same' };
  if (key === '\r' || key === '\n') return { path: '/feel/choose', which: report.trial?.showing ?? 'first' };
  return undefined;
}

async function follow(
  client: GuideClient,
  first: GloveAnswer,
  out: NodeJS.WritableStream,
): Promise<GloveAnswer> {
  const keys: string[] = [];
  const { stdin } = process;
  const raw = stdin.isTTY === true;
  const take = (data: Buffer) => {
    // An arrow key begins with Escape as well: one that means nothing here disarms, which hurts nobody.
    keys.push(...data.toString());
  };
  const end = () => void keys.push(CTRL_C);
  process.once('SIGINT', end);
  process.once('SIGTERM', end);
  if (raw) {
    stdin.setRawMode(true);
    stdin.resume();
    stdin.on('data', take);
  }
  let report = first;
  let shown = '';
  try {
    while (report.state === 'running') {
      const key = keys.shift();
      const action = key === undefined ? undefined : keyAction(key, report);
      if (action === 'end') {
        process.exitCode = EXIT_CODE.interrupted;
        return await client.ask<GloveAnswer>('POST', '/feel/stop');
      }
      if (action) {
        const { path, which } = action;
        await client.ask('POST', path, which === undefined ? {} : { which }).catch((error: unknown) => {
          if (!(error instanceof TautlineError)) throw error;
          out.write(`  ${error.line}\n`);
        });
      } else await new Promise((resolve) => setTimeout(resolve, POLL_MS));
      report = await client.ask<GloveAnswer>('GET', '/feel');
      const line = trialLine(report);
      if (line !== shown && line !== '') out.write(`${line}\n`);
      shown = line;
    }
  } finally {
    process.removeListener('SIGINT', end);
    process.removeListener('SIGTERM', end);
    if (raw) {
      stdin.off('data', take);
      stdin.setRawMode(false);
      stdin.pause();
    }
  }
  return report;
}

/** `2/4  the second   felt: first   armed`; says nothing of which is which. */
export function trialLine({ trial, armed, howToArm }: GloveAnswer): string {
  if (!trial) return '';
  const { round, rounds: all, showing, felt } = trial;
  const done = (['first', 'second'] as const).filter((place) => felt[place]).join(' and ') || 'neither';
  const state = armed ? 'armed' : `disarmed: a arms (or ${howToArm ?? 'tautline arm'})`;
  return `${round}/${all}  the ${showing.padEnd(6)}  felt: ${done.padEnd(16)}  ${state}`;
}

/** What was what, for a terminal of 80 columns. */
export function foundLines({ what, revealed }: NonNullable<GloveAnswer['found']>): string[] {
  const { a, b, rounds: all, chosen, byChance } = revealed;
  const { unit } = FEEL_RANGE[what];
  const values = { a, b };
  return [
    ...all.map(({ first, chosen: side }, i) => {
      const second = first === 'a' ? 'b' : 'a';
      return `${i + 1}. first ${values[first]}, second ${values[second]}: ${side === 'same' ? 'no difference' : `chose ${values[side]}`}`;
    }),
    `${a} ${unit} was chosen ${times(chosen.a)}, ${b} ${times(chosen.b)}${chosen.same > 0 ? `, neither ${times(chosen.same)}` : ''}.`,
    `Tossing a coin would be as one-sided ${(byChance * 100).toFixed(0)} % of the time.`,
  ];
}
const times = (n: number): string => (n === 1 ? 'once' : n === 2 ? 'twice' : `${n} times`);

/** Asks where there is somebody to ask; else what was preferred is kept. */
async function toBeKept(
  out: NodeJS.WritableStream,
  value: number,
  { what, person }: NonNullable<GloveAnswer['found']>,
): Promise<boolean> {
  if (!process.stdin.isTTY) return true;
  out.write(`\nKeep ${what} ${value} for ${person}?  Enter: keep   q: discard `);
  const keep = await waitForKey();
  out.write(keep ? '\n' : '\nDiscarded; nothing was changed. The glove is disarmed.\n');
  return keep;
}

function rounds(text: string): number {
  const value = Number(text);
  if (!Number.isInteger(value) || value < 1 || value > 20) throw new InvalidArgumentError('Give 1 to 20.');
  return value;
}
