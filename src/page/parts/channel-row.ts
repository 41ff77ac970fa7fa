import { make, setAttribute, setHidden, setText } from '../dom.js';
import type { Health } from '../live.js';
import { createHistory } from './history.js';
import { createStripChart, type Trace } from './strip-chart.js';
import { roleText, sentence, verdictText } from './words.js';

export const SECONDS = 8;
const RATE_HZ = 60;

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
  /** @param silent nothing comes from the glove: what was well is not known to be so */
  judge(health: ChannelHealth, silent: boolean): void;
  range(range: ChannelRange): void;
  /** The numbers of what was added; to be called as often as can be read. */
  write(): void;
  /** @returns whether there was anything to draw */
  draw(): boolean;
  /** Reads the size and the theme's colours again. */
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
  const countsTrace: Trace = { low: 0, high: 4095, colour: '--raw' };
  const chart = createStripChart(SECONDS, [countsTrace, { low: -1.05, high: 1.05, colour: '--accent' }]);
  const lines = [history.counts, history.values];
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
    chart.element,
    remedy,
  );
  let full = 4095;
  let known: ChannelRange | undefined;
  let lastCounts: number | undefined;
  let lastValue = 0;
  /** Something came that is not yet drawn. */
  let toDraw = true;

  const placed = new Map<HTMLElement, string>();
  const place = (bar: HTMLElement, from: number, to: number) => {
    const width = Math.max(0.004, Math.abs(to - from) / full);
    // A needle at the very end must not lie beyond it.
    const low = Math.min(Math.min(from, to) / full, 1 - width);
    const transform = `translateX(${(low * 100).toFixed(1)}%) scaleX(${width.toFixed(3)})`;
    if (placed.get(bar) === transform) return;
    placed.set(bar, transform);
    bar.style.transform = transform;
  };

  return {
    element,
    add(timeS, count, value) {
      history.add(timeS, count, value);
      lastCounts = count;
      lastValue = value;
      toDraw = true;
    },
    judge({ verdict: name, evidence, remedy: what }, silent) {
      const well = name === 'healthy';
      // A fault that was found stays what is to be mended; what was well may not be so now.
      setText(verdict, well && silent ? 'No signal' : verdictText(name));
      setAttribute(element, 'data-verdict', silent ? 'unknown' : well ? 'healthy' : 'fault');
      setHidden(remedy, well);
      setText(
        remedy,
        [evidence, what]
          .filter((text) => text !== undefined)
          .map(sentence)
          .join('. '),
      );
    },
    range(range) {
      known = range;
      full = 2 ** range.bits - 1;
      countsTrace.high = full;
    },
    write() {
      setText(counts, lastCounts === undefined ? '–' : String(lastCounts));
      setText(filtered, lastCounts === undefined ? '–' : `${Math.round(lastValue * 100)} %`);
      if (history.highest >= history.lowest) place(seen, history.lowest, history.highest);
      if (known?.open !== undefined && known.closed !== undefined) {
        place(fitted, known.open, known.closed);
        const text = `Range ${Math.round(known.open)} open to ${Math.round(known.closed)} closed, of ${full}`;
        setText(ends, text);
      }
    },
    draw() {
      if (!toDraw) return false;
      toDraw = false;
      if (lastCounts !== undefined) place(needle, lastCounts, lastCounts);
      history.settle();
      return chart.draw(history.ages, lines, history.from, history.end);
    },
    layout() {
      chart.layout();
      toDraw = true;
    },
  };
}
