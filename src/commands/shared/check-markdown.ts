import type { Trouble } from '../../glove/view.js';
import type { CheckReport } from '../../guide/report.js';

/** What a maker posts to ask for help: how the glove is built and what the check found; no names, addresses or ids. */
export interface CheckFacts {
  version: string;
  node: string;
  /** Such as `Linux x64`. */
  platform: string;
  hand: string;
  /** Of the glove, as far as the service says it. */
  firmwareVersion?: number;
  troubles: readonly Pick<Trouble, 'what' | 'state' | 'says' | 'remedy'>[];
  check: CheckReport;
}

const BAR_CELLS = 20;

/** Markdown; whatever is in a cell cannot leave it. */
export function checkMarkdown({
  version,
  node,
  platform,
  hand,
  firmwareVersion,
  troubles,
  check,
}: CheckFacts): string {
  const { channels, link, ok } = check;
  const firmware = firmwareVersion === undefined ? '' : `, firmware ${firmwareVersion}`;
  const lines = [
    '# A glove, checked',
    '',
    `Tautline ${version}, Node ${node}, ${platform}; ${hand} hand, ${channels.length} channels${firmware}.`,
    ok ? 'All channels and the link are well.' : 'Something is to be mended.',
    '',
    '| channel | verdict | range used | noise, counts | evidence |',
    '|---|---|---|---|---|',
    ...channels.map(({ role, verdict, evidence, used, noiseCounts }) =>
      row(role, verdict, `\`${bar(used)}\` ${Math.round(used * 100)} %`, noiseCounts.toFixed(1), evidence),
    ),
    ...(check.buttons ?? []).map(({ name, verdict, evidence }) =>
      row(`button ${name}`, verdict, '', '', evidence),
    ),
    '',
    '| link | |',
    '|---|---|',
    row('samples a second', `${Math.round(link.rateHz)} of ${link.promisedHz}`),
    row('lost, damaged, malformed', `${link.lost}, ${link.badCrc}, ${link.malformed}`),
    row('silences', String(link.gaps)),
    row('jitter', `${link.jitterMs.toFixed(1)} ms`),
  ];
  const advice = adviceOf({ troubles, check });
  if (advice.length > 0)
    lines.push('', 'What the program advised:', '', ...advice.map((line) => `- ${safe(line)}`));
  return `${lines.join('\n')}\n`;
}

/** What is to be done, a line each. */
export function adviceOf({ troubles, check }: Pick<CheckFacts, 'troubles' | 'check'>): string[] {
  const { channels, buttons = [], link } = check;
  return [
    ...channels
      .filter(({ verdict }) => verdict !== 'healthy')
      .map(({ role, remedy }) => `${role}: ${remedy}`),
    ...buttons
      .filter(({ verdict }) => verdict !== 'healthy')
      .map(({ name, remedy }) => `button ${name}: ${remedy}`),
    ...(link.ok ? [] : [`link: ${link.remedy}`]),
    // What a channel is has been said above.
    ...troubles
      .filter(({ what }) => !channels.some(({ role }) => role === what))
      .map(({ what, says, remedy = '' }) => `${what}: ${says} ${remedy}`.trim()),
  ];
}

const bar = (part: number) => {
  const filled = Math.round(Math.min(1, Math.max(0, part)) * BAR_CELLS);
  return '#'.repeat(filled) + '.'.repeat(BAR_CELLS - filled);
};
const safe = (text: string) => text.replace(/[\r\n|<>]/g, ' ');
const row = (...cells: string[]) => `| ${cells.map((cell) => safe(cell)).join(' | ')} |`;
