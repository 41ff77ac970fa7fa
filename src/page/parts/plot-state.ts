import { computed, effect, type ReadonlySignal, type Signal, signal } from '@preact/signals';
import { createRef, type RefObject } from 'preact';
import type uPlot from 'uplot';
import type { HandSide } from '../../hand/joints.js';
import type { Live } from '../live.js';
import { createRecords, KEPT_S } from '../records.js';
import type { TraceTable } from '../trace-table.js';
import { cursorAt, type PlotLook, type PlotSamples } from './plot.js';
import { createPlotChoice, type PlotChoice } from './plot-choice.js';
import { unitText } from './plot-views.js';
import { NO_WORDS, type PlotWordsText, wordsOf } from './plot-words.js';

const USUAL_S = 10;
/** Drawn so often at most; words and numbers are written less often, to be read. */
export const DRAW_MS = 60;
const READABLE_MS = 250;
/** As near as it zooms, half of it, s. */
const LEAST_HALF_S = 0.05;

/** A plot: what of, when, and what is read off it. */
export interface PlotState {
  readonly choice: PlotChoice;
  readonly spanS: ReadonlySignal<number>;
  readonly isPaused: ReadonlySignal<boolean>;
  /** What is seen. */
  readonly samples: ReadonlySignal<PlotSamples>;
  /** Of each of the series, at the cursor. */
  readonly values: ReadonlySignal<readonly string[]>;
  readonly words: ReadonlySignal<PlotWordsText>;
  readonly areWordsOpen: Signal<boolean>;
  readonly chart: RefObject<uPlot | null>;
  chooseSpan(spanS: number): void;
  pause(on: boolean): void;
  /** A part of the time, which stands still; undefined: all of it. */
  zoomTo(fromS: number | undefined, toS?: number): void;
  zoomBy(factor: number): void;
  /** The cursor is elsewhere. */
  moved(): void;
  /** One channel, raw against fitted. */
  show(side: HandSide, role: string): void;
  /** @returns whether there is more to draw or to write, and only not yet */
  draw(nowMs: number): boolean;
}

/** @param ask for a call of `draw`: something was changed by hand */
export function createPlotState(live: Live, ask: () => void): PlotState {
  const records = createRecords(live);
  const choice = createPlotChoice(live, records);
  const { side, series, look } = choice;
  const spanS = signal(USUAL_S);
  /** Ends that were zoomed to, s before the newest. */
  const zoom = signal<[number, number] | undefined>(undefined);
  const frozen = signal<TraceTable | undefined>(undefined);
  const span = computed((): [number, number] => zoom.value ?? [-spanS.value, 0]);
  const samples = signal<PlotSamples>(nothingOf(look.peek(), span.peek()));
  const values = signal<readonly string[]>([]);
  const words = signal(NO_WORDS);
  const areWordsOpen = signal(false);
  const chart = createRef<uPlot | null>();
  let drawnMs = Number.NEGATIVE_INFINITY;
  /** Time of the newest sample that is drawn. */
  let drawnS = Number.NaN;
  let writtenMs = Number.NEGATIVE_INFINITY;
  /** The numbers and words are not those of what is drawn. */
  let toWrite = true;

  const newest = (): TraceTable | undefined => {
    const shown = side.peek();
    return shown && records.get(shown)?.table;
  };
  const table = (): TraceTable | undefined => frozen.peek() ?? newest();

  function now(): void {
    drawnMs = writtenMs = Number.NEGATIVE_INFINITY;
    ask();
  }
  /** Where the cursor is, or what is open to be read, has changed. */
  function rewrite(): void {
    writtenMs = Number.NEGATIVE_INFINITY;
    toWrite = true;
    ask();
  }
  // What stands still is of another hand.
  effect(() => {
    side.value;
    if (frozen.peek()) pause(false);
  });
  // Other lines, or other axes: what is drawn is of others.
  effect(() => {
    samples.value = nothingOf(look.value, span.peek());
    now();
  });
  effect(() => {
    series.value;
    values.value = [];
  });
  effect(() => {
    if (areWordsOpen.value) rewrite();
  });

  function pause(on: boolean): void {
    frozen.value = on ? newest()?.copy() : undefined;
    if (!frozen.peek()) zoom.value = undefined;
    now();
  }
  function zoomTo(fromS: number | undefined, toS = 0): void {
    if (fromS !== undefined && !frozen.peek()) pause(true);
    zoom.value = fromS === undefined ? undefined : [Math.max(-KEPT_S, fromS), Math.min(0, toS)];
    now();
  }
  function redraw(from: TraceTable): void {
    const [fromS, toS] = span.peek();
    const { newestS } = from;
    const { series: lines } = look.peek();
    const data = from.slice(
      lines.map(({ column }) => column),
      newestS + fromS,
      newestS + toS,
    );
    data[0] = data[0].map((timeS) => (timeS ?? 0) - newestS);
    lines.forEach(({ factor }, i) => {
      if (factor !== 1) data[i + 1] = data[i + 1].map((value) => value && value * factor);
    });
    samples.value = { look: look.peek(), data, fromS, toS };
    toWrite = true;
  }
  function write(): void {
    const drawn = samples.peek();
    const at = cursorAt(chart.current) ?? drawn.data[0].length - 1;
    const texts = series.peek().map((one) => {
      const value = drawn.data[drawn.look.series.indexOf(one) + 1]?.[at];
      const isKnown = drawn.look.series.includes(one) && value !== null && value !== undefined;
      return isKnown ? unitText(value, one.unit) : '–';
    });
    values.value = texts;
    if (areWordsOpen.peek()) words.value = wordsOf(drawn, at, frozen.peek() !== undefined);
    toWrite = false;
  }

  return {
    choice,
    spanS,
    isPaused: computed(() => frozen.value !== undefined),
    samples,
    values,
    words,
    areWordsOpen,
    chart,
    chooseSpan(seconds) {
      spanS.value = seconds;
      zoomTo(undefined);
    },
    pause,
    zoomTo,
    zoomBy(factor) {
      const [fromS, toS] = span.peek();
      const [middle, half] = [(fromS + toS) / 2, Math.max(LEAST_HALF_S, ((toS - fromS) / 2) * factor)];
      // Kept inside of what there is.
      const end = Math.min(0, Math.max(middle + half, 2 * half - KEPT_S));
      zoomTo(end - 2 * half, end);
    },
    moved: rewrite,
    show(hand, role) {
      choice.chooseView('both');
      choice.chooseOf(role);
      choice.chooseSide(hand);
    },
    draw(nowMs) {
      if (nowMs - drawnMs < DRAW_MS) return toWrite || table()?.newestS !== drawnS;
      // What stands still is drawn once.
      const isStill = (frozen.peek() !== undefined || !live.connected) && drawnMs > 0;
      choice.sync();
      const from = table();
      if (!from || Number.isNaN(from.newestS)) return false;
      if (!isStill && !(from.newestS === drawnS && drawnMs > 0)) {
        drawnMs = nowMs;
        drawnS = from.newestS;
        redraw(from);
      }
      if (!toWrite || nowMs - writtenMs < READABLE_MS) return toWrite;
      writtenMs = nowMs;
      write();
      return false;
    },
  };
}

const nothingOf = (look: PlotLook, [fromS, toS]: readonly [number, number]): PlotSamples => ({
  look,
  data: [[]],
  fromS,
  toS,
});
