import type { Command } from 'commander';
import { TautlineError } from '../errors.js';
import type { WearReport } from '../guide/wear/judge.js';
import type { GloveDay } from '../recording/wear.js';
import { wrap } from './shared/wrap.js';

interface WearOptions {
  profile?: string;
  json?: boolean;
}

/** What is said of one glove. */
export interface GloveWear extends WearReport {
  glove: string;
  hand: string;
  sessions: number;
  fits: number;
  /** Days, ms since 1970. */
  firstMs: number;
  lastMs: number;
}

export function addWearCommand(program: Command): void {
  program
    .command('wear')
    .description('What wears: noise, jumps, friction and range of each sensor, from your sessions and fits.')
    .argument('[sessions...]', 'session files, or folders of them; left out: the folder of the service')
    .option('--profile <file>', 'your glove: its fits count as well')
    .option('--json', 'print JSON')
    .addHelpText(
      'after',
      '\nExample:\n  tautline wear --profile my-glove.yaml\n\nIt takes six sessions of a minute and more, over a week at least, to say anything.',
    )
    .action(wear);
}

async function wear(named: string[], options: WearOptions): Promise<void> {
  const [{ openSession }, { daysOfFits, daysOfSession }, { judgeWear }, { userPaths }] = await Promise.all([
    import('../recording/session.js'),
    import('../recording/wear.js'),
    import('../guide/wear/judge.js'),
    import('../install/paths.js'),
  ]);
  const sessions: GloveDay[] = [];
  const files = await sessionFiles(named.length > 0 ? named : [userPaths().sessions], named.length > 0);
  for (const file of files) {
    try {
      const session = openSession(file);
      sessions.push(...daysOfSession(session));
      session.close();
    } catch (error) {
      // One damaged file is no reason to say nothing of the others.
      if (!(error instanceof TautlineError)) throw error;
      console.error(`${file}: passed over. ${error.message}`);
    }
  }
  const fits = options.profile === undefined ? [] : daysOfFits(await readFits(options.profile));
  const gloves = new Map<string, { sessions: GloveDay[]; fits: GloveDay[] }>();
  for (const [kind, days] of [
    ['sessions', sessions],
    ['fits', fits],
  ] as const) {
    for (const day of days) {
      const key = `${day.glove}\n${day.hand}`;
      const entry = gloves.get(key) ?? { sessions: [], fits: [] };
      entry[kind].push(day);
      gloves.set(key, entry);
    }
  }
  const reports = [...gloves.values()].map((days): GloveWear => {
    const all = [...days.sessions, ...days.fits].sort((a, b) => a.atMs - b.atMs);
    // Ends as fitted and ends as used are not the same figure: the longer history counts.
    const ends = days.fits.length >= days.sessions.length ? days.fits : days.sessions;
    const judged = judgeWear(all.map((day) => (ends.includes(day) ? day : withoutEnds(day))));
    const { glove, hand } = all[0];
    return {
      glove,
      hand,
      sessions: days.sessions.length,
      fits: days.fits.length,
      firstMs: all[0].atMs,
      lastMs: all[all.length - 1].atMs,
      ...judged,
    };
  });
  if (options.json) console.log(JSON.stringify(reports, null, 2));
  else if (reports.length === 0) {
    throw new TautlineError(
      'notSupported',
      files.length === 0 ? 'There are no sessions and no fits.' : 'No session holds a minute of a glove.',
      'Record some with `tautline record`, a minute or two now and then, or name a folder of sessions.',
    );
  } else for (const line of reports.flatMap(wearLines)) console.log(line);
}

const withoutEnds = (day: GloveDay): GloveDay => ({
  ...day,
  sensors: day.sensors.map((one) => ({ ...one, low: Number.NaN, high: Number.NaN })),
});

async function readFits(profile: string) {
  const [{ loadProfile }, { fitFileOf, openFits }] = await Promise.all([
    import('../config/load.js'),
    import('../config/fit-file.js'),
  ]);
  await loadProfile(profile);
  return openFits(fitFileOf(profile)).entries;
}

/** @param asked the paths were named by the user: one that is not there is a mistake */
async function sessionFiles(paths: readonly string[], asked: boolean): Promise<string[]> {
  const [{ readdir, stat }, { join }] = await Promise.all([import('node:fs/promises'), import('node:path')]);
  const files: string[] = [];
  for (const path of paths) {
    const found = await stat(path).catch(() => undefined);
    if (!found) {
      if (asked) throw new TautlineError('fileNotFound', `${path}: no such file.`, 'Check the path.');
      continue;
    }
    if (!found.isDirectory()) files.push(path);
    else {
      const names = await readdir(path);
      files.push(
        ...names
          .filter((name) => name.endsWith('.mcap'))
          .sort()
          .map((name) => join(path, name)),
      );
    }
  }
  return files;
}

const COLUMNS = 80;
const day = (ms: number): string => new Date(ms).toISOString().slice(0, 10);

/** For a terminal of 80 columns. */
export function wearLines({
  glove,
  hand,
  sessions,
  fits,
  firstMs,
  lastMs,
  sensors,
  findings,
}: GloveWear): string[] {
  const counted = [
    `${sessions} ${sessions === 1 ? 'session' : 'sessions'}`,
    ...(fits > 0 ? [`${fits} ${fits === 1 ? 'fit' : 'fits'}`] : []),
  ].join(' and ');
  const lines = [`${glove} (${hand} hand): ${counted}, ${day(firstMs)} to ${day(lastMs)}`];
  for (const { says, remedy } of findings) {
    for (const [i, line] of wrap(`${says} ${remedy}`, COLUMNS - 2).entries())
      lines.push(`${i === 0 ? '! ' : '  '}${line}`);
  }
  const few = sensors.filter(({ enough }) => !enough);
  const fine = sensors.filter(({ role, enough }) => enough && !findings.some((one) => one.role === role));
  if (fine.length > 0)
    lines.push(...wrap(`No wear to be seen: ${fine.map(({ role }) => role).join(', ')}.`, COLUMNS));
  if (few.length > 0) {
    const text =
      few.length === sensors.length
        ? 'Too little to say anything yet: it takes six sessions or fits over a week at least.'
        : `Too little to say of ${few.map(({ role }) => role).join(', ')}.`;
    lines.push(...wrap(text, COLUMNS));
  }
  return lines;
}
