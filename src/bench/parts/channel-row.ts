import uPlot from 'uplot';
import { make, setAttribute, setText } from '../dom.js';
import type { Health } from '../live.js';
import { colourOf } from '../theme.js';
import { createHistory } from './history.js';
import { roleText, verdictText } from './words.js';

export const SECONDS = 8;
const RATE_HZ = 60;
const CHART_HEIGHT = 84;

type ChannelHealth = Health['channels'][number];

/** What a channel's counts may be, and between which ends they are read. */
export interface ChannelRange {
  bits: number;
  open: number | undefined;
  closed: number | undefined;
}

/** One channel: verdict, counts, range in use, and the last seconds of counts and filtered value. */
export interface ChannelRow {
  readonly element: HTMLElement;
  add(timeS: number, counts: number, value: number): void;
  judge(health: ChannelHealth): void;
  range(range: ChannelRange): void;
  /** Writes and draws what was added. */
  draw(): void;
  /** Made anew with the theme's colours and the row's width. */
  layout(): void;
}

export function createChannelRow(role: string): ChannelRow {
  const history = createHistory(SECONDS, RATE_HZ);
  const verdict = make('span', { class: 'verdict' });
  const counts = make('output', { class: 'counts' });
  const filtered = make('output', { class: 'filtered' });
  const fitted = make('i', { class: 'fitted' });
  const seen = make('i', { class: 'seen' });
  const needle = make('i', { class: 'needle' });
  const ends = make('span', { class: 'ends' });
  const remedy = make('p', { class: 'remedy', hidden: true });
  const chart = make('div', { class: 'chart', 'aria-hidden': 'true' });
  const element = make(
    'li',
    { class: 'channel card', 'data-role': role },
    make('div', { class: 'channel-head' }, make('h4', {}, roleText(role)), verdict),
    make(
      'div',
      { class: 'channel-numbers' },
      make('span', { class: 'number' }, 'Raw ', counts),
      make('span', { class: 'number' }, 'Filtered ', filtered),
    ),
    make('div', { class: 'range-bar', 'aria-hidden': 'true' }, fitted, seen, needle),
    ends,
    chart,
    remedy,
  );
  let full = 4095;
  let known: ChannelRange | undefined;
  let plot: uPlot | undefined;
  let lastCounts = 0;
  let lastValue = 0;

  const place = (bar: HTMLElement, from: number, to: number) => {
    const low = Math.min(from, to) / full;
    const width = Math.abs(to - from) / full;
    bar.style.transform = `translateX(${(low * 100).toFixed(2)}%) scaleX(${Math.max(0.004, width).toFixed(4)})`;
  };

  return {
    element,
    add(timeS, count, value) {
      history.add(timeS, count, value);
      lastCounts = count;
      lastValue = value;
    },
    judge({ verdict: name, evidence, remedy: what }) {
      setText(verdict, verdictText(name));
      setAttribute(element, 'data-verdict', name === 'healthy' ? 'healthy' : 'fault');
      remedy.hidden = name === 'healthy';
      setText(remedy, [evidence, what].filter(Boolean).join('. '));
    },
    range(range) {
      known = range;
      full = 2 ** range.bits - 1;
    },
    draw() {
      setText(counts, String(lastCounts));
      setText(filtered, `${Math.round(lastValue * 100)} %`);
      place(needle, lastCounts, lastCounts);
      if (history.highest >= history.lowest) place(seen, history.lowest, history.highest);
      if (known?.open !== undefined && known.closed !== undefined) {
        place(fitted, known.open, known.closed);
        const text = `Range ${Math.round(known.open)} open to ${Math.round(known.closed)} closed, of ${full}`;
        setText(ends, text);
      }
      plot?.setData(history.views());
    },
    layout() {
      plot?.destroy();
      const width = chart.clientWidth;
      if (width === 0) return;
      plot = new uPlot(
        {
          width,
          height: CHART_HEIGHT,
          legend: { show: false },
          cursor: { show: false },
          padding: [4, 0, 4, 0],
          scales: {
            x: { time: false, range: [-SECONDS, 0] },
            counts: { range: [0, full] },
            value: { range: [-1.05, 1.05] },
          },
          axes: [{ show: false }, { show: false }],
          series: [
            {},
            { scale: 'counts', stroke: colourOf('--raw'), width: 2, points: { show: false } },
            { scale: 'value', stroke: colourOf('--accent'), width: 2, points: { show: false } },
          ],
        },
        history.views(),
        chart,
      );
    },
  };
}
