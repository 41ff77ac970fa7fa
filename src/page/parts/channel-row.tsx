import { computed, type ReadonlySignal, signal } from '@preact/signals';
import type { Health } from '../live.js';
import { createHistory } from './history.js';
import { StripCanvas } from './strip-canvas.js';
import { createStripChart, type StripChart, type Trace } from './strip-chart.js';
import { roleText, sentence, verdictText } from './words.js';

export const SECONDS = 8;
const RATE_HZ = 60;

type ChannelHealth = Health['channels'][number];

/** What a channel's counts may be, and between which ends they are read. */
interface ChannelRange {
  bits: number;
  open: number | undefined;
  closed: number | undefined;
}

/** One channel: verdict, counts, range in use, and the last seconds of counts and filtered value. */
export interface ChannelRow {
  readonly role: string;
  readonly verdict: ReadonlySignal<string>;
  /** `healthy`, `fault`, `unknown`; undefined until it is known. */
  readonly state: ReadonlySignal<string | undefined>;
  /** What is wrong, and what to do; empty: nothing. */
  readonly remedy: ReadonlySignal<string>;
  readonly counts: ReadonlySignal<string>;
  readonly filtered: ReadonlySignal<string>;
  /** The fitted range in words. */
  readonly ends: ReadonlySignal<string>;
  /** Where the bars lie, as styles. */
  readonly bars: Record<'fitted' | 'seen' | 'needle', ReadonlySignal<string>>;
  readonly chart: StripChart;
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
  const countsTrace: Trace = { low: 0, high: 4095, colour: '--raw' };
  const chart = createStripChart(SECONDS, [countsTrace, { low: -1.05, high: 1.05, colour: '--accent' }]);
  const lines = [history.counts, history.values];
  const health = signal<ChannelHealth | undefined>(undefined);
  const silent = signal(false);
  const counts = signal('');
  const filtered = signal('');
  const ends = signal('');
  const [fitted, seen, needle] = [signal(''), signal(''), signal('')];
  const isWell = computed(() => health.value?.verdict === 'healthy');
  // A fault that was found stays what is to be mended; what was well may not be so now.
  const verdict = computed(() => {
    if (!health.value) return '';
    return isWell.value && silent.value ? 'No signal' : verdictText(health.value.verdict);
  });
  const remedy = computed(() => {
    if (!health.value || isWell.value) return '';
    const { evidence, remedy } = health.value;
    return [evidence, remedy]
      .filter((text) => text !== undefined)
      .map(sentence)
      .join('. ');
  });
  let full = 4095;
  let known: ChannelRange | undefined;
  let lastCounts: number | undefined;
  let lastValue = 0;
  /** Something came that is not yet drawn. */
  let toDraw = true;

  const place = (from: number, to: number): string => {
    const width = Math.max(0.004, Math.abs(to - from) / full);
    // A needle at the very end must not lie beyond it.
    const low = Math.min(Math.min(from, to) / full, 1 - width);
    return `transform: translateX(${(low * 100).toFixed(1)}%) scaleX(${width.toFixed(3)})`;
  };

  const state = computed(() => {
    if (!health.value) return undefined;
    return silent.value ? 'unknown' : isWell.value ? 'healthy' : 'fault';
  });

  return {
    role,
    verdict,
    state,
    remedy,
    counts,
    filtered,
    ends,
    bars: { fitted, seen, needle },
    chart,
    add(timeS, count, value) {
      history.add(timeS, count, value);
      lastCounts = count;
      lastValue = value;
      toDraw = true;
    },
    judge(now, isSilent) {
      health.value = now;
      silent.value = isSilent;
    },
    range(range) {
      known = range;
      full = 2 ** range.bits - 1;
      countsTrace.high = full;
    },
    write() {
      counts.value = lastCounts === undefined ? '–' : String(lastCounts);
      filtered.value = lastCounts === undefined ? '–' : `${Math.round(lastValue * 100)} %`;
      if (history.highest >= history.lowest) seen.value = place(history.lowest, history.highest);
      if (known?.open !== undefined && known.closed !== undefined) {
        fitted.value = place(known.open, known.closed);
        ends.value = `Range ${Math.round(known.open)} open to ${Math.round(known.closed)} closed, of ${full}`;
      }
    },
    draw() {
      if (!toDraw) return false;
      toDraw = false;
      if (lastCounts !== undefined) needle.value = place(lastCounts, lastCounts);
      history.settle();
      return chart.draw(history.ages, lines, history.from, history.end);
    },
    layout() {
      chart.layout();
      toDraw = true;
    },
  };
}

/** Rendered once: what changes is written where it stands. */
export function ChannelRowItem({ row }: { row: ChannelRow }) {
  const { role, verdict, state, remedy, counts, filtered, ends, bars, chart } = row;
  return (
    <li class="channel card" data-role={role} data-verdict={state}>
      <div class="channel-head">
        <h4>{roleText(role)}</h4>
        <span class="verdict">{verdict}</span>
      </div>
      <div class="channel-numbers">
        <span class="number">
          Raw <output class="counts">{counts}</output>
        </span>
        <span class="number">
          Filtered <output class="filtered">{filtered}</output>
        </span>
      </div>
      <div class="range-bar" aria-hidden="true">
        <i class="fitted" style={bars.fitted} />
        <i class="seen" style={bars.seen} />
        <i class="needle" style={bars.needle} />
      </div>
      <span class="ends">{ends}</span>
      <StripCanvas chart={chart} />
      <p class="remedy" hidden={computed(() => remedy.value === '')}>
        {remedy}
      </p>
    </li>
  );
}
