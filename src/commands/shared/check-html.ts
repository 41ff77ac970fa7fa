import type { CheckTrace } from '../../guide/check-trace.js';
import { adviceOf, type CheckFacts } from './check-markdown.js';

/** The same findings as a page that stands alone: with a plot of each channel over the moves, drawn as inline SVG. */

const WIDTH = 720;
const HEIGHT = 84;

const STYLE = `body{font:15px/1.5 system-ui,sans-serif;margin:2rem auto;max-width:46rem;padding:0 1rem;color:#1b1f24;background:#fff}
h2{font-size:1rem;margin:1.6rem 0 .2rem}p{margin:.2rem 0}.ill{color:#9a1c1c}svg{width:100%;height:auto;display:block}
table{border-collapse:collapse}td{padding:.1rem .8rem .1rem 0}.dim{color:#57606a}`;

export function checkHtml(facts: CheckFacts, trace: CheckTrace): string {
  const { version, node, platform, hand, firmwareVersion, check } = facts;
  const { channels, buttons = [], link, ok } = check;
  const firmware = firmwareVersion === undefined ? '' : `, firmware ${firmwareVersion}`;
  const advice = adviceOf(facts);
  const entry = (name: string, verdict: string, evidence: string) => {
    const well = verdict === 'healthy';
    return `<h2${well ? '' : ' class="ill"'}>${text(name)}: ${text(well ? 'well' : verdict)}</h2>\n<p>${text(evidence)}</p>`;
  };
  const lines = [
    '<!doctype html>',
    '<html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width">',
    `<title>A glove, checked</title><style>${STYLE}</style>`,
    '<h1>A glove, checked</h1>',
    `<p>Tautline ${text(version)}, Node ${text(node)}, ${text(platform)}; ${text(hand)} hand, ${channels.length} channels${text(firmware)}.</p>`,
    `<p><strong>${ok ? 'All channels and the link are well.' : 'Something is to be mended.'}</strong></p>`,
    ...(advice.length > 0 ? ['<ul>', ...advice.map((line) => `<li>${text(line)}</li>`), '</ul>'] : []),
    '<p class="dim">Each plot shows the whole converter, bottom to top, over the moves named above it.</p>',
    ...channels.flatMap(({ role, verdict, evidence }) => [entry(role, verdict, evidence), plot(role, trace)]),
    ...buttons.map(({ name, verdict, evidence }) => entry(`button ${name}`, verdict, evidence)),
    '<h2>link</h2><table>',
    ...[
      ['samples a second', `${Math.round(link.rateHz)} of ${link.promisedHz}`],
      ['lost, damaged, malformed', `${link.lost}, ${link.badCrc}, ${link.malformed}`],
      ['silences', String(link.gaps)],
      ['jitter', `${link.jitterMs.toFixed(1)} ms`],
    ].map(([name, value]) => `<tr><td>${text(name)}<td>${text(value)}</tr>`),
    '</table></html>',
  ];
  return `${lines.join('\n')}\n`;
}

/** A band from the least to the most of each stretch, and the moves as stripes with their names. */
function plot(role: string, { channels, moves, seconds }: CheckTrace): string {
  const channel = channels.find((one) => one.role === role);
  if (!channel || seconds <= 0) return '';
  const top = 14;
  const room = HEIGHT - top - 2;
  const n = channel.low.length;
  const x = (k: number) => ((k / Math.max(1, n - 1)) * WIDTH).toFixed(1);
  const y = (part: number) => (top + 1 + (1 - part) * room).toFixed(1);
  const upper = channel.high.map((part, k) => `${x(k)},${y(Math.min(1, part + 0.004))}`);
  const lower = channel.low.map((part, k) => `${x(k)},${y(Math.max(0, part - 0.004))}`).reverse();
  const at = (s: number) => ((s / seconds) * WIDTH).toFixed(1);
  const stripes = moves.map(({ name, fromS, toS }, m) => {
    const width = ((toS - fromS) / seconds) * WIDTH;
    const stripe =
      m % 2 === 0
        ? `<rect x="${at(fromS)}" y="${top}" width="${width.toFixed(1)}" height="${room + 2}" fill="#eef1f4"/>`
        : '';
    // A name that does not fit says nothing.
    const label =
      width > 6 * name.length
        ? `<text x="${(Number(at(fromS)) + 2).toFixed(1)}" y="10" font-size="10" fill="#57606a">${text(name)}</text>`
        : '';
    return stripe + label;
  });
  return [
    `<svg viewBox="0 0 ${WIDTH} ${HEIGHT}" role="img" aria-label="${text(role)} over the moves">`,
    ...stripes,
    `<rect x="0" y="${top}" width="${WIDTH}" height="${room + 2}" fill="none" stroke="#8c959f"/>`,
    `<polygon points="${[...upper, ...lower].join(' ')}" fill="#0b5cad"/>`,
    '</svg>',
  ].join('');
}

const ENTITIES: Record<string, string> = { '&': '&amp;', '<': '&lt;', '>': '&gt;', '"': '&quot;' };
const text = (raw: string): string => raw.replace(/[&<>"]/g, (c) => ENTITIES[c]);
