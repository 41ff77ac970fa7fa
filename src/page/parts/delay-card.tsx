import '../valid-language.js';
import { type ReadonlySignal, signal, useComputed, useSignalEffect } from '@preact/signals';
import { useRef } from 'preact/hooks';
import uPlot from 'uplot';
import type { HandSide } from '../../hand/joints.js';
import { type DelaySummary, type Delays, type Histogram, histogramOf } from '../delays.js';
import { type Live, recordingOf } from '../live.js';
import { colourOf, theme } from '../theme.js';
import { useSize } from '../use-size.js';
import { axisStyle } from './chart-style.js';
import { sideText } from './words.js';

const BARS = 40;
const DRAW_MS = 500;
const HEIGHT_PX = 150;

interface HandDelays {
  side: HandSide;
  replay: boolean;
  summary: DelaySummary | undefined;
  bars: Histogram;
}

/** What the card shows, looked up now and then. */
export interface DelayReports {
  readonly hands: ReadonlySignal<readonly HandDelays[]>;
  /** Looks again, where it was long ago. */
  draw(nowMs: number): void;
}

export function createDelayReports(live: Live, delays: Delays): DelayReports {
  const hands = signal<readonly HandDelays[]>([]);
  let drawnMs = Number.NEGATIVE_INFINITY;
  return {
    hands,
    draw(nowMs) {
      if (nowMs - drawnMs < DRAW_MS) return;
      drawnMs = nowMs;
      const now = [...live.hands].map(([side, hand]) => ({
        side,
        replay: recordingOf(hand) !== undefined,
        summary: live.connected ? delays.summary(side) : undefined,
        bars: histogramOf(delays.of(side), BARS),
      }));
      const isMeasured = now.some(({ summary }) => summary);
      if (isMeasured || saysOf(now) !== saysOf(hands.peek())) hands.value = now;
    },
  };
}

/** What is said while nothing is measured. */
const saysOf = (hands: readonly HandDelays[]): string =>
  hands.map(({ side, replay, summary }) => `${side} ${replay} ${summary !== undefined}`).join();

/** How long poses take from their sample to this page, as figures and as bars; for each hand. */
export const DelayCard = ({ hands }: Pick<DelayReports, 'hands'>) => (
  <article class="card delay-card">
    <h3>Delay from sample to page</h3>
    <p class="lead">
      From the moment the glove measured to the moment this page has the pose. The display adds its next
      frame.
    </p>
    <Hands hands={hands} />
  </article>
);

function Hands({ hands }: Pick<DelayReports, 'hands'>) {
  const all = hands.value;
  return (
    <>
      {all.map(({ side, replay, summary }) => (
        <section key={side} class="delays-of" aria-label={`Delay of the ${side} hand`}>
          <p class="delay-line">
            {all.length > 1 && <strong>{sideText(side)}: </strong>}
            {summary
              ? `Half within ${ms(summary.medianMs)}, 95 of 100 within ${ms(summary.p95Ms)}, the longest ${ms(summary.mostMs)}; ${summary.count} poses, clocks known to ±${ms(summary.errorMs)}.`
              : replay
                ? 'Not measured in a replay: its samples are of another time.'
                : 'Nothing measured yet.'}
          </p>
          <Bars side={side} summary={summary} hands={hands} />
        </section>
      ))}
    </>
  );
}

function Bars({ side, summary, hands }: Pick<HandDelays, 'side' | 'summary'> & Pick<DelayReports, 'hands'>) {
  const { box, size } = useSize<HTMLDivElement>();
  const width = useComputed(() => size.value.width);
  const chart = useRef<uPlot | undefined>(undefined);
  useSignalEffect(() => {
    theme.value;
    if (!box.current || width.value === 0) return undefined;
    const drawn = new uPlot(chartOptions(width.value), dataOf(side, hands.peek()), box.current);
    chart.current = drawn;
    return () => {
      chart.current = undefined;
      drawn.destroy();
    };
  });
  useSignalEffect(() => {
    const data = dataOf(side, hands.value);
    chart.current?.setData(data);
  });
  return <div class="bars-of" role="img" aria-label={barsText(side, summary)} ref={box} />;
}

/** Middles of the bars, and how high they are. */
function dataOf(side: HandSide, hands: readonly HandDelays[]): [number[], number[]] {
  const { widthMs = 0, counts = [] } = hands.find((one) => one.side === side)?.bars ?? {};
  return [counts.map((_, bar) => (bar + 0.5) * widthMs), counts];
}

const ms = (value: number): string => (Number.isFinite(value) ? `${value.toFixed(1)} ms` : 'not known');

const barsText = (side: HandSide, summary: DelaySummary | undefined): string =>
  summary
    ? `Bars: how many poses of the ${side} hand took how long; most about ${ms(summary.medianMs)}`
    : `No delays of the ${side} hand yet`;

function chartOptions(width: number): uPlot.Options {
  const { line, axis } = axisStyle();
  const fill = colourOf('--accent');
  return {
    width,
    height: HEIGHT_PX,
    legend: { show: false },
    cursor: { show: false },
    scales: {
      x: { time: false, range: (_, least, most) => [0, most + least] },
      y: { range: (_, _least, most) => [0, Math.max(1, most)] },
    },
    axes: [
      { ...axis, label: 'ms', labelSize: 18, size: 26, grid: { show: false } },
      { ...axis, label: 'poses', labelSize: 18, size: 50, grid: { stroke: line, width: 1 } },
    ],
    series: [
      {},
      { fill, stroke: fill, width: 0, paths: uPlot.paths.bars?.({ size: [0.9] }), points: { show: false } },
    ],
  };
}
