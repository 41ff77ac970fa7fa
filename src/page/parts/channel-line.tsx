import { computed, type ReadonlySignal, signal } from '@preact/signals';
import { CONDITION_TEXT, isGuessed } from '../finger-state.js';
import type { Health } from '../live.js';
import { createSteady, createSteadyPercent } from '../steady.js';
import { Sign } from './finger-table.js';
import { createHistory } from './history.js';
import { StripCanvas } from './strip-canvas.js';
import { createStripChart, type StripChart, type Trace } from './strip-chart.js';
import { roleText, verdictText } from './words.js';

const SECONDS = 6;
const RATE_HZ = 60;
/** A channel with a middle goes both ways. */
const LEAST = { oneWay: -0.05, bothWays: -1.05 };
/** Counts stay while noise is all that moves, as a part of the converter's range. Noise itself is for the plots. */
const STEADY_PART = 0.002;

/** One channel on a line of the bench: name, the last seconds, value, counts, verdict. */
export interface ChannelLine {
  readonly role: string;
  readonly value: ReadonlySignal<string>;
  readonly counts: ReadonlySignal<string>;
  /** The value is not measured, but filled in for a finger whose sensor is not believed. */
  readonly isGuess: ReadonlySignal<boolean>;
  readonly verdict: ReadonlySignal<string>;
  /** `healthy`, `fault`, `unknown`. */
  readonly state: ReadonlySignal<string>;
  readonly chart: StripChart;
  /** Something came that would be seen, and is not yet drawn. */
  readonly isDue: boolean;
  add(timeS: number, counts: number, value: number): void;
  /**
   * @param silent nothing comes from the glove, or from the service: what was well is not known to be so
   * @param isInferred its finger is filled in from others
   */
  judge(channel: Health['channels'][number], silent: boolean, isInferred: boolean): void;
  /** Value and counts as they came last; to be called as often as can be read. */
  write(): void;
  /** @returns whether there was anything to draw */
  draw(): boolean;
  layout(): void;
}

/** @param bits of its converter */
export function createChannelLine(role: string, bits: number): ChannelLine {
  const history = createHistory(SECONDS, RATE_HZ);
  const low = /splay|stick/.test(role) ? LEAST.bothWays : LEAST.oneWay;
  const trace: Trace = { low, high: 1.05, colour: '--accent' };
  const chart = createStripChart(SECONDS, [trace]);
  const lines = [history.values];
  const steadyCounts = createSteady(STEADY_PART * 2 ** bits);
  const steadyPercent = createSteadyPercent();
  const value = signal('–');
  const counts = signal('–');
  const verdict = signal<string | undefined>(undefined);
  const silent = signal(false);
  const isGuess = signal(false);
  let last: { counts: number; value: number; timeS: number } | undefined;
  let isDue = true;
  const write = () => {
    // What came last is not what is now.
    const known = silent.peek() ? undefined : last;
    value.value = known ? `${steadyPercent(known.value)} %`.replace('-', '−') : '–';
    counts.value = known ? String(Math.round(steadyCounts(known.counts))) : '–';
  };
  return {
    role,
    value,
    counts,
    isGuess,
    chart,
    get isDue() {
      return isDue;
    },
    verdict: computed(() =>
      verdict.value === undefined ? '' : silent.value ? 'No signal' : verdictText(verdict.value),
    ),
    state: computed(() => (silent.value ? 'unknown' : verdict.value === 'healthy' ? 'healthy' : 'fault')),
    add(timeS, count, now) {
      history.add(timeS, count, now);
      if (now < LEAST.oneWay) trace.low = LEAST.bothWays;
      isDue ||= !chart.liesAt(0, now, timeS - (last?.timeS ?? Number.NaN));
      last = { counts: count, value: now, timeS };
    },
    judge({ verdict: name }, isSilent, isInferred) {
      verdict.value = name;
      isGuess.value = !isSilent && isGuessed(role, name, isInferred);
      if (silent.peek() === isSilent) return;
      silent.value = isSilent;
      write();
    },
    write,
    draw() {
      if (!isDue) return false;
      isDue = false;
      history.settle();
      return chart.draw(history.ages, lines, history.from, history.end);
    },
    layout() {
      chart.layout();
      isDue = true;
    },
  };
}

/** As the table of the fingers says it. */
const Guess = ({ isGuess }: { isGuess: ReadonlySignal<boolean> }) =>
  isGuess.value ? (
    <small class="guess">
      <Sign condition={GUESSED} /> {CONDITION_TEXT.inferred.toLowerCase()}
    </small>
  ) : null;
const GUESSED = signal('inferred' as const);

/** Written where it changes: nothing is rendered again for a number. @param open shows more of it */
export const ChannelLineItem = ({ line, open }: { line: ChannelLine; open(): void }) => (
  <li class="line" data-channel={line.role} data-verdict={line.state}>
    <button type="button" class="link" title="Plot it" onClick={open}>
      {roleText(line.role)}
    </button>
    <StripCanvas chart={line.chart} />
    <span class="value" data-guess={computed(() => (line.isGuess.value ? 'true' : undefined))}>
      {line.value}
      <Guess isGuess={line.isGuess} />
    </span>
    <span class="counts">{line.counts}</span>
    <span class="verdict">{line.verdict}</span>
  </li>
);
