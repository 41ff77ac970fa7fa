import { type Cell, ENCODINGS, GLOVES, RATES_HZ, SUBSCRIBERS } from './cells.js';

const PANEL = { width: 190, height: 150, gapX: 54, gapY: 62, left: 56, top: 74 };
const COLUMNS = GLOVES.flatMap((gloves) => ENCODINGS.map((encoding) => ({ gloves, encoding })));
const WIDTH = PANEL.left + COLUMNS.length * (PANEL.width + PANEL.gapX) - 20;
const HEIGHT = PANEL.top + 2 * (PANEL.height + PANEL.gapY) - 14;

interface Axis {
  title: string;
  ticks: readonly { at: number; text: string }[];
  /** 0 at the bottom, 1 at the top. */
  place(value: number): number;
  value(cell: Cell): number;
}

const linear = (most: number) => (value: number) => value / most;
const logarithmic = (least: number, most: number) => (value: number) =>
  Math.log(Math.max(least, value) / least) / Math.log(most / least);

const CPU: Axis = {
  title: 'CPU, % of one core',
  ticks: [0, 25, 50, 75, 100].map((at) => ({ at, text: String(at) })),
  place: linear(110),
  value: ({ cpuPercent }) => cpuPercent,
};
const DELAY: Axis = {
  title: 'p99 from sample to app, ms',
  ticks: [0.1, 1, 10, 100].map((at) => ({ at, text: String(at) })),
  place: logarithmic(0.1, 100),
  value: ({ p99Us }) => p99Us / 1000,
};

const across = logarithmic(SUBSCRIBERS[0], SUBSCRIBERS[SUBSCRIBERS.length - 1]);

/** CPU and delay over the number of subscribers, a line for each rate, a column for each encoding and number of gloves. */
export function loadPlot(cells: readonly Cell[]): string {
  const parts: string[] = [];
  RATES_HZ.forEach((rateHz, i) => {
    const x = PANEL.left + i * 100;
    parts.push(
      `<line class="rate${i}" x1="${x}" y1="22" x2="${x + 24}" y2="22"/>`,
      text(x + 30, 26, `${rateHz} Hz`),
    );
  });
  COLUMNS.forEach(({ gloves, encoding }, column) => {
    const x = PANEL.left + column * (PANEL.width + PANEL.gapX);
    parts.push(
      text(x, PANEL.top - 12, `${gloves === 1 ? '1 glove' : `${gloves} gloves`}, ${encoding}`, 'head'),
    );
    const own = cells.filter((cell) => cell.gloves === gloves && cell.encoding === encoding);
    [CPU, DELAY].forEach((axis, row) => {
      parts.push(...panel(own, axis, x, PANEL.top + row * (PANEL.height + PANEL.gapY), column === 0));
    });
  });
  return [
    `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 ${WIDTH} ${HEIGHT}" role="img" aria-label="CPU and delay over load">`,
    `<style>${STYLE}</style>`,
    ...parts,
    '</svg>',
    '',
  ].join('\n');
}

function panel(cells: readonly Cell[], axis: Axis, left: number, top: number, titled: boolean): string[] {
  const { width, height } = PANEL;
  const x = (subscribers: number): string => (left + across(subscribers) * width).toFixed(1);
  const y = (value: number): string => (top + (1 - Math.min(1, axis.place(value))) * height).toFixed(1);
  const parts: string[] = [];
  for (const { at, text: label } of axis.ticks) {
    parts.push(`<line class="grid" x1="${left}" y1="${y(at)}" x2="${left + width}" y2="${y(at)}"/>`);
    parts.push(text(left - 6, Number(y(at)) + 4, label, 'end'));
  }
  for (const subscribers of SUBSCRIBERS) {
    parts.push(text(Number(x(subscribers)), top + height + 16, String(subscribers), 'middle'));
  }
  parts.push(text(left + width / 2, top + height + 31, 'subscribers', 'middle'));
  if (titled) {
    parts.push(
      `<text class="middle" transform="rotate(-90)" x="${-(top + height / 2)}" y="${left - 40}">${axis.title}</text>`,
    );
  }
  RATES_HZ.forEach((rateHz, i) => {
    const points = cells
      .filter((cell) => cell.rateHz === rateHz)
      .map((cell) => `${x(cell.subscribers)},${y(axis.value(cell))}`);
    if (points.length === 0) return;
    parts.push(`<polyline class="rate${i}" fill="none" points="${points.join(' ')}"/>`);
  });
  return parts;
}

const text = (x: number, y: number, label: string, kind = ''): string =>
  `<text${kind ? ` class="${kind}"` : ''} x="${x}" y="${y}">${label}</text>`;

const COLOURS = {
  light: ['#8a6d00', '#1a7f5a', '#1f6fb2', '#b3325f'],
  dark: ['#e0c060', '#5ccf9f', '#74b8ee', '#f28bb0'],
};
const strokes = (colours: readonly string[]): string =>
  colours.map((colour, i) => `.rate${i}{stroke:${colour}}`).join('');
const STYLE = [
  'text{font:12px system-ui,sans-serif;fill:#24292f}.head{font-weight:600}.end{text-anchor:end}.middle{text-anchor:middle}',
  'polyline,line{fill:none;stroke-width:2}.grid{stroke:#8884;stroke-width:1}',
  strokes(COLOURS.light),
  `@media(prefers-color-scheme:dark){text{fill:#e6edf3}${strokes(COLOURS.dark)}}`,
].join('');
