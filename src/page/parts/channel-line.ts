import { button, make, setAttribute, setText } from '../dom.js';
import type { Health } from '../live.js';
import { createSteady, createSteadyPercent } from '../steady.js';
import { createHistory } from './history.js';
import { createStripChart, type Trace } from './strip-chart.js';
import { roleText, verdictText } from './words.js';

const SECONDS = 6;
const RATE_HZ = 60;
/** A channel with a middle goes both ways. */
const LEAST = { oneWay: -0.05, bothWays: -1.05 };

/** One channel on a line of the bench: name, the last seconds, value, counts, verdict. */
export interface ChannelLine {
  readonly element: HTMLElement;
  add(timeS: number, counts: number, value: number): void;
  /** @param silent nothing comes from the glove, or from the service: what was well is not known to be so */
  judge(channel: Health['channels'][number], silent: boolean): void;
  /** Value and counts as they came last; to be called as often as can be read. */
  write(): void;
  /** @returns whether there was anything to draw */
  draw(): boolean;
  layout(): void;
}

/** Counts stay while noise is all that moves, as a part of the converter's range. Noise itself is for the plots. */
const STEADY_PART = 0.002;

/** @param bits of its converter; @param open shows more of it */
export function createChannelLine(role: string, bits: number, open: () => void): ChannelLine {
  const history = createHistory(SECONDS, RATE_HZ);
  const low = /splay|stick/.test(role) ? LEAST.bothWays : LEAST.oneWay;
  const trace: Trace = { low, high: 1.05, colour: '--accent' };
  const chart = createStripChart(SECONDS, [trace]);
  const lines = [history.values];
  const steadyCounts = createSteady(STEADY_PART * 2 ** bits);
  const steadyPercent = createSteadyPercent();
  const value = make('span', { class: 'value' }, '–');
  const counts = make('span', { class: 'counts' }, '–');
  const verdict = make('span', { class: 'verdict' });
  const element = make(
    'li',
    { class: 'line', 'data-channel': role },
    button(roleText(role), open, { class: 'link', title: 'Plot it' }),
    chart.element,
    value,
    counts,
    verdict,
  );
  let last: { counts: number; value: number } | undefined;
  let quiet = false;
  /** Something came that is not yet drawn. */
  let toDraw = true;
  const write = () => {
    // What came last is not what is now.
    const known = quiet ? undefined : last;
    setText(value, known ? `${steadyPercent(known.value)} %`.replace('-', '−') : '–');
    setText(counts, known ? String(Math.round(steadyCounts(known.counts))) : '–');
  };
  return {
    element,
    add(timeS, count, now) {
      history.add(timeS, count, now);
      toDraw = true;
      if (now < LEAST.oneWay) trace.low = LEAST.bothWays;
      last = { counts: count, value: now };
    },
    judge({ verdict: name }, silent) {
      const well = name === 'healthy';
      if (quiet !== silent) {
        quiet = silent;
        write();
      }
      setAttribute(element, 'data-verdict', silent ? 'unknown' : well ? 'healthy' : 'fault');
      setText(verdict, silent ? 'No signal' : well ? 'Healthy' : verdictText(name));
    },
    write,
    draw() {
      if (!toDraw) return false;
      toDraw = false;
      history.settle();
      return chart.draw(history.ages, lines, history.from, history.end);
    },
    layout() {
      chart.layout();
      toDraw = true;
    },
  };
}
