import { readFile } from 'node:fs/promises';
import type { Command } from 'commander';
import { EXIT_CODE, TautlineError } from '../errors.js';
import type { FitsAnswer } from '../glove/kept-fits.js';
import type { GuideReport, MountReport } from '../guide/report.js';
import { fitFromUse } from './fit-from-use.js';
import { fitLines, listLines, mountLines, sensorLines, stopLines } from './fit-lines.js';
import {
  addGuideOptions,
  begin,
  type GuideClient,
  type GuideOptions,
  openGuide,
} from './shared/guide-client.js';
import { followGuide, waitForKey } from './shared/guide-screen.js';

interface FitOptions extends GuideOptions {
  person?: string;
  fromJoints?: string;
  actuators?: boolean;
  mount?: boolean;
  fromUse?: boolean;
  list?: boolean;
  undo?: boolean;
  use?: boolean;
  json?: boolean;
}

export function addFitCommand(program: Command): void {
  addGuideOptions(
    program
      .command('fit')
      .description('Fit the glove to your hand, in under a minute; kept beside the profile with its date.'),
  )
    .option('--person <name>', 'whose hand, when several people wear the glove')
    .option('--from-joints <file>', 'bone lengths from joint positions that a hand tracker saw (JSON)')
    .option('--actuators', 'find where the string stops hold; arms the glove when you say so')
    .option('--mount', 'how a controller or tracker sits on the hand; an app must say where it is')
    .option(
      '--from-use',
      'a fit from how you moved the hand anyway: what it would change; taken if you say so',
    )
    .option('--list', 'print every fit of the glove')
    .option('--undo', 'go back to the fit before the present one')
    .option('--use', 'put the last fit of --person to use in a running service')
    .option('--json', 'print JSON; prompts go to stderr')
    .addHelpText(
      'after',
      `
Examples:
  tautline fit --profile my-glove.yaml
  tautline fit --profile my-glove.yaml --person Kim
  tautline fit --profile my-glove.yaml --from-joints hand.json
  tautline fit --profile my-glove.yaml --actuators
  tautline fit --mount
  tautline fit --from-use
  tautline fit --profile my-glove.yaml --undo

Forces are off while it runs, but for --actuators: there they are low, and armed by you.
Fits of the sensors, of the actuators, of the bones and of the mount add up.`,
    )
    .action(fit);
}

/** One thing at a time: what would be left unheeded is refused. */
function refuseClashes({ list, undo, use, fromJoints, actuators, mount, fromUse, person }: FitOptions): void {
  const asked = Object.entries({
    list,
    undo,
    use,
    'from-joints': fromJoints,
    actuators,
    mount,
    'from-use': fromUse,
  }).filter(([, value]) => value !== undefined);
  if (asked.length > 1) {
    const [first, second] = asked.map(([name]) => `--${name}`);
    throw new TautlineError('usage', `${first} and ${second} do not go together.`, 'Give one of them.');
  }
  if (use && person === undefined) {
    throw new TautlineError('usage', '--use needs the name of a wearer.', 'Give it with --person.');
  }
}

async function fit(options: FitOptions): Promise<void> {
  refuseClashes(options);
  const positions = options.fromJoints === undefined ? undefined : await readJoints(options.fromJoints);
  const client = await openGuide(options);
  const say = (lines: readonly string[], data: unknown) => {
    if (options.json) console.log(JSON.stringify(data, null, 2));
    else for (const line of lines) console.log(line);
  };
  const person: Record<string, string> = options.person === undefined ? {} : { person: options.person };
  try {
    if (options.list) {
      const fits = await client.ask<FitsAnswer>('GET', '/fits');
      say(listLines(fits), fits);
    } else if (options.undo) {
      const fits = await client.ask<FitsAnswer>('POST', '/fits/undo');
      say(['Undone. In use now:', ...listLines(fits, true)], fits);
    } else if (options.use) {
      if (client.own) {
        throw new TautlineError(
          'serviceUnreachable',
          'No service runs that has this glove.',
          `Start one with \`tautline run --profile ${options.profile} --person ${options.person}\`.`,
        );
      }
      const fits = await client.ask<FitsAnswer>('POST', '/fits/use', person);
      say(listLines(fits, true), fits);
    } else if (positions !== undefined) {
      const fits = await client
        .ask<FitsAnswer>('POST', '/fits/hand', person, positions)
        .catch((error: unknown): never => {
          throw inFile(options.fromJoints!, error);
        });
      say(
        [`Bones fitted, ${fits.rmsMm?.toFixed(1)} mm rms off the joints given.`, ...listLines(fits, true)],
        fits,
      );
    } else if (options.actuators) await guidedStops(client, options, person);
    else if (options.mount) await guidedMount(client, options, person);
    else if (options.fromUse) await fitFromUse(client, options.json === true, person);
    else await guided(client, options, person);
  } finally {
    await client.close();
  }
}

async function guided(
  client: GuideClient,
  options: FitOptions,
  person: Record<string, string>,
): Promise<void> {
  const out = options.json ? process.stderr : process.stdout;
  const first = await begin(client, { task: 'fit', ...person });
  out.write(`Fitting ${first.glove} (${first.hand} hand). Wear it, and do what each line says.\n`);
  const report = await followGuide(client, first, out);
  if (!report.fit) {
    sayGivenUp(report, out);
    return;
  }
  for (const line of fitLines(report.fit)) out.write(`${line}\n`);
  if (report.fit.channels.length === 0) {
    const { refused = 'No sensor moved.' } = report.fit;
    throw new TautlineError(
      'notSupported',
      `${refused} Nothing is kept.`,
      'Fit again, holding each pose until the next line; `tautline check` finds sensors that do not move.',
    );
  }
  if (!(await toBeKept(out))) return;
  const kept = await client.ask('POST', '/guide/accept');
  out.write(`Kept for ${report.fit.person}. \`tautline run\` uses it; \`tautline fit --undo\` goes back.\n`);
  if (options.json) console.log(JSON.stringify(kept.fit, null, 2));
}

async function guidedStops(
  client: GuideClient,
  options: FitOptions,
  person: Record<string, string>,
): Promise<void> {
  const out = options.json ? process.stderr : process.stdout;
  if (!process.stdin.isTTY) out.write('No keys here: arm with `tautline arm`, or POST /guide/next.\n');
  const first = await begin(client, { task: 'actuators', ...person });
  out.write(`Fitting the stops of ${first.glove} (${first.hand} hand). Wear it. To let go: q\n`);
  let report: GuideReport;
  try {
    report = await followGuide(client, first, out);
  } catch (error) {
    // Whatever went wrong here, the glove does not stay armed for it.
    await client.ask('POST', '/guide/stop').catch(() => {});
    throw error;
  }
  const { stops } = report;
  if (!stops) {
    sayGivenUp(report, out);
    return;
  }
  for (const line of stopLines(stops)) out.write(`${line}\n`);
  if (stops.fitted.length === 0) throw new TautlineError('notSupported', 'Nothing was found, nothing kept.');
  if (!(await toBeKept(out))) return;
  const kept = await client.ask('POST', '/guide/accept');
  out.write(`Kept for ${stops.person}. \`tautline fit --undo\` goes back. The glove is disarmed.\n`);
  if (options.json) console.log(JSON.stringify(kept.stops, null, 2));
}

async function guidedMount(
  client: GuideClient,
  options: FitOptions,
  person: Record<string, string>,
): Promise<void> {
  const out = options.json ? process.stderr : process.stdout;
  if (client.own) {
    throw new TautlineError(
      'serviceUnreachable',
      'No service runs that has this glove, so no application can say where a tracker is.',
      'Start one with `tautline run`, then the application that has the tracker.',
    );
  }
  const first = await begin(client, { task: 'mount', ...person });
  out.write(`Fitting the tracker on ${first.glove} (${first.hand} hand). Sit at a table, glove on.\n`);
  const report = await followGuide(client, first, out);
  const { mount } = report;
  if (!mount) {
    sayGivenUp(report, out);
    return;
  }
  if (!mount.fitted)
    throw new TautlineError('notSupported', `${mount.line} Nothing is kept.`, 'Begin again.');
  for (const line of mountLines(mount)) out.write(`${line}\n`);
  if (!(await toBeKept(out))) return;
  const kept = await client.ask('POST', '/guide/accept');
  out.write(`Kept for ${mount.person}, and in use. \`tautline fit --undo\` goes back.\n`);
  const { mount: last = kept.mount } = mount.sensors ? await offerSensors(client, mount, out) : kept;
  if (options.json) console.log(JSON.stringify(last, null, 2));
}

/** Sensors that the touches show to be off: put right only if the wearer says so. */
async function offerSensors(
  client: GuideClient,
  mount: MountReport,
  out: NodeJS.WritableStream,
): Promise<Partial<GuideReport>> {
  out.write('\n');
  for (const line of sensorLines(mount)) out.write(`${line}\n`);
  if (!process.stdin.isTTY) {
    out.write('Left as they are: without keys, POST /guide/accept?part=sensors corrects them.\n');
    return {};
  }
  out.write('\nCorrect them?  Enter: correct   q: leave them ');
  if (!(await waitForKey())) {
    out.write('\nLeft as they are.\n');
    return {};
  }
  const kept = await client.ask('POST', '/guide/accept', { part: 'sensors' });
  out.write('\nCorrected, and in use. `tautline fit --undo` goes back, and keeps the mount.\n');
  return kept;
}

/** A run without a result. @throws TautlineError unless it was the wearer who ended it */
function sayGivenUp({ reason }: GuideReport, out: NodeJS.WritableStream): void {
  if (process.exitCode !== EXIT_CODE.interrupted) {
    throw new TautlineError('portFailed', `The fit ended early: ${reason ?? 'the glove is gone.'}`);
  }
  out.write('Given up; nothing was changed.\n');
}

/** Asks where there is somebody to ask; else what was found is kept. */
async function toBeKept(out: NodeJS.WritableStream): Promise<boolean> {
  if (!process.stdin.isTTY) return true;
  out.write('\nKeep it?  Enter: keep   q: discard ');
  const keep = await waitForKey();
  out.write(keep ? '\n' : '\nDiscarded; nothing was changed.\n');
  return keep;
}

const MOST_BYTES = 16 * 1024 * 1024;

/**
 * Joint positions from a file: one set by WebXR joint name, a list of sets, or either under `frames` or
 * `positions`.
 */
async function readJoints(file: string): Promise<unknown> {
  let text: string;
  try {
    text = await readFile(file, 'utf8');
  } catch (error) {
    const { code } = error as NodeJS.ErrnoException;
    if (code === 'ENOENT')
      throw new TautlineError('fileNotFound', `${file}: no such file.`, 'Check the path.');
    throw new TautlineError(
      'fileDenied',
      `${file}: it cannot be read (${code}).`,
      'Name a JSON file that you may read.',
    );
  }
  try {
    if (text.length > MOST_BYTES) throw new Error('it is too large');
    const data = JSON.parse(text) as { frames?: unknown; positions?: unknown } | null;
    const sets = data?.frames ?? data?.positions ?? data;
    // More frames add nothing: bones do not change.
    return Array.isArray(sets) ? thinned(sets) : sets;
  } catch (error) {
    throw new TautlineError(
      'fileInvalid',
      `${file}: ${error instanceof SyntaxError ? 'it is not JSON' : (error as Error).message}.`,
      'Expected positions in metres by WebXR joint name, or a list of such.',
    );
  }
}

/** What the service says of positions, with the file that they came from. */
function inFile(file: string, error: unknown): unknown {
  if (!(error instanceof TautlineError) || !['fileInvalid', 'badMessage'].includes(error.code)) return error;
  return new TautlineError('fileInvalid', `${file}: ${error.message}`, error.remedy);
}

const MOST_FRAMES = 120;
const thinned = (sets: unknown[]) => {
  const every = Math.max(1, sets.length / MOST_FRAMES);
  return Array.from({ length: Math.min(sets.length, MOST_FRAMES) }, (_, i) => sets[Math.floor(i * every)]);
};
