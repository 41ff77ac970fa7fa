import { existsSync } from 'node:fs';
import type { Command } from 'commander';
import { EXIT_CODE, TautlineError } from '../errors.js';
import type { Trouble } from '../glove/view.js';
import type { CheckTrace } from '../guide/check-trace.js';
import type { CheckReport, GuideReport, LinkReport } from '../guide/report.js';
import {
  addGuideOptions,
  begin,
  type GuideClient,
  type GuideOptions,
  openGuide,
} from './shared/guide-client.js';
import { followGuide } from './shared/guide-screen.js';
import { wrap } from './shared/wrap.js';

interface CheckOptions extends GuideOptions {
  json?: boolean;
  report?: string;
}

export function addCheckCommand(program: Command): void {
  addGuideOptions(
    program
      .command('check')
      .description('Is every sensor wired and well? Asks for simple moves, then one verdict a channel.'),
  )
    .option('--json', 'print the findings as JSON; prompts go to stderr')
    .option(
      '--report <file>',
      'write the findings too, to post when you ask for help: Markdown, or with plots if it ends with .html',
    )
    .addHelpText(
      'after',
      `\nExample:\n  tautline check --profile my-glove.yaml\n\nForces are off while it runs. Exit code ${EXIT_CODE.ok} only if all is well, else ${EXIT_CODE.failed}.`,
    )
    .action(check);
}

async function check(options: CheckOptions): Promise<void> {
  // Rather now than after all the moves.
  if (options.report !== undefined && existsSync(options.report)) {
    throw new TautlineError(
      'fileDenied',
      `${options.report} is there already.`,
      'Name another with --report.',
    );
  }
  const client = await openGuide(options);
  try {
    const out = options.json ? process.stderr : process.stdout;
    const first = await begin(client, { task: 'check' });
    out.write(`Checking ${first.glove} (${first.hand} hand). Wear it, and do what each line says.\n`);
    const report = await followGuide(client, first, out);
    if (!report.check) {
      if (process.exitCode === EXIT_CODE.interrupted) out.write('Given up; nothing was judged.\n');
      else
        throw new TautlineError(
          'portFailed',
          `The check ended early: ${report.reason ?? 'the glove is gone.'}`,
        );
      return;
    }
    if (options.json) console.log(JSON.stringify(report.check, null, 2));
    else {
      const lines = [
        ...checkLines(report.check),
        ...unnamedLines((await healthOf(client, report.hand)).troubles),
      ];
      for (const line of lines) console.log(line);
    }
    if (options.report !== undefined) {
      await writeReport(client, options.report, report);
      out.write(`${options.report}: written. Read it before you post it.\n`);
    }
    process.exitCode = report.check.ok ? EXIT_CODE.ok : EXIT_CODE.failed;
  } finally {
    await client.close();
  }
}

interface GloveHealth {
  name?: string;
  hand: string;
  troubles: readonly Trouble[];
  link?: { address?: string };
}

/** What the service knows of the glove besides. */
async function healthOf(client: GuideClient, hand: string): Promise<GloveHealth> {
  type Health = { gloves?: (Omit<GloveHealth, 'troubles'> & { troubles?: Trouble[] })[] };
  const health = await client.ask<Health>('GET', '/health').catch((): Health => ({}));
  const glove = health.gloves?.find((one) => one.hand === hand);
  return { hand, ...glove, troubles: glove?.troubles ?? [] };
}

/** Without names, addresses and ids, however they came into a text. */
async function writeReport(
  client: GuideClient,
  file: string,
  { hand, glove, check }: GuideReport,
): Promise<void> {
  const [{ checkMarkdown }, { checkHtml }, { scrub, scrubTree }, os, { writeFile }, { version }] =
    await Promise.all([
      import('./shared/check-markdown.js'),
      import('./shared/check-html.js'),
      import('../doctor/scrub.js'),
      import('node:os'),
      import('node:fs/promises'),
      import('../install/version.js'),
    ]);
  const { troubles, link } = await healthOf(client, hand);
  const platform = `${os.type()} ${os.arch()}`;
  const facts = { version, node: process.version, platform, hand, troubles, check: check! };
  const secrets = [glove, ...(link?.address === undefined ? [] : [link.address])];
  const personal = { home: os.homedir(), user: os.userInfo().username, host: os.hostname(), secrets };
  const text = /\.html?$/i.test(file)
    ? // Texts alone: what is drawn names nobody.
      checkHtml(
        scrubTree(facts, personal) as typeof facts,
        await client.ask<CheckTrace>('GET', '/guide/trace'),
      )
    : scrub(checkMarkdown(facts), personal);
  try {
    await writeFile(file, text, { flag: 'wx', mode: 0o600 });
  } catch (error) {
    const { code } = error as NodeJS.ErrnoException;
    const why = code === 'EEXIST' ? 'is there already' : `cannot be written (${code})`;
    throw new TautlineError('fileDenied', `${file} ${why}.`, 'Name another with --report.');
  }
}

/** What the glove has and the profile does not name: no fault, but no use either. */
const unnamedLines = (troubles: readonly Trouble[]): string[] =>
  troubles
    .filter(({ what }) => what === 'profile')
    .flatMap(({ says, remedy = '' }) => ['', ...wrap(`${says} ${remedy}`, COLUMNS)]);

const COLUMNS = 80;
const NAME = 15;
const VERDICT = 14;

/** The findings for a terminal of 80 columns, without colour. */
export function checkLines({ channels, buttons = [], link }: CheckReport): string[] {
  const lines = [row('channel', 'verdict', 'evidence')].flat();
  for (const { role, verdict, evidence, remedy } of channels) {
    lines.push(...row(role, verdictWord(verdict), evidence, verdict === 'healthy' ? '' : remedy));
  }
  for (const { name, verdict, evidence, remedy } of buttons) {
    lines.push(...row(`button ${name}`.slice(0, NAME - 1), verdictWord(verdict), evidence, remedy));
  }
  lines.push(...row('link', link.ok ? 'well' : 'NOT WELL', linkText(link), link.remedy), '');
  const ill = channels.filter(({ verdict }) => verdict !== 'healthy').length;
  const sick = buttons.filter(({ verdict }) => verdict === 'stuck' || verdict === 'bouncing').length;
  if (ill === 0 && sick === 0 && link.ok) {
    lines.push(`All ${channels.length} channels and the link are well.`);
  } else {
    const parts = [
      ill > 0 ? `${ill} of ${channels.length} channels` : '',
      sick > 0 ? `${sick} of ${buttons.length} buttons` : '',
      link.ok ? '' : 'the link',
    ].filter(Boolean);
    lines.push(`To be mended: ${parts.join(' and ')}. Follow the arrows, then check again.`);
  }
  return lines;
}

const WORDS: Record<string, string> = {
  healthy: 'well',
  shortRange: 'SHORT RANGE',
  crossTalk: 'CROSS-TALK',
  notPressed: 'not pressed',
};
const verdictWord = (verdict: string) => WORDS[verdict] ?? verdict.toUpperCase();

const linkText = ({ rateHz, promisedHz, lost, badCrc, malformed, gaps, jitterMs }: LinkReport) =>
  `${Math.round(rateHz)} of ${promisedHz} samples/s, ${lost} lost, ${badCrc} CRC errors, ${malformed} malformed, ${gaps} silences, jitter ${jitterMs.toFixed(1)} ms`;

function row(name: string, verdict: string, evidence: string, remedy = ''): string[] {
  const room = COLUMNS - NAME - VERDICT;
  const texts = [...wrap(evidence, room), ...wrap(remedy === '' ? '' : `-> ${remedy}`, room).filter(Boolean)];
  return texts.map((text, i) =>
    `${(i === 0 ? name : '').padEnd(NAME)}${(i === 0 ? verdict : '').padEnd(VERDICT)}${text}`.trimEnd(),
  );
}
