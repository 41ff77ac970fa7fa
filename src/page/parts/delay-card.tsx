import '../valid-language.js';
import { signal } from '@preact/signals';
import { render } from 'preact';
import { useEffect, useRef } from 'preact/hooks';
import uPlot from 'uplot';
import type { HandSide } from '../../hand/joints.js';
import { type DelaySummary, type Delays, histogramOf } from '../delays.js';
import { type Live, recordingOf } from '../live.js';
import { colourOf, themeChanged } from '../theme.js';
import { sideText } from './words.js';

const BARS = 40;
const DRAW_MS = 500;
const HEIGHT_PX = 150;

/** How long poses take from their sample to this page, as figures and as bars; one for each hand. */
export interface DelayCard {
  readonly element: HTMLElement;
  draw(nowMs: number): void;
  layout(): void;
}

interface HandDelays {
  side: HandSide;
  replay: boolean;
  summary: DelaySummary | undefined;
}

export function createDelayCard(live: Live, delays: Delays): DelayCard {
  const element = document.createElement('article');
  element.className = 'card delay-card';
  const hands = signal<readonly HandDelays[]>([]);
  const boxes = new Map<HandSide, HTMLElement>();
  const charts = new Map<HandSide, uPlot>();
  /** Charts that are drawn without a delay, and have none yet. */
  const empty = new Set<uPlot>();
  let drawnMs = Number.NEGATIVE_INFINITY;

  const Hand = ({ side, replay, summary }: HandDelays) => {
    const box = useRef<HTMLDivElement>(null);
    useEffect(() => {
      if (box.current) boxes.set(side, box.current);
      rebuild();
      return () => {
        boxes.delete(side);
        rebuild();
      };
    }, [side]);
    return (
      <section class="delays-of" aria-label={`Delay of the ${side} hand`}>
        <p class="delay-line">
          {hands.value.length > 1 && <strong>{sideText(side)}: </strong>}
          {summary
            ? `Half within ${ms(summary.medianMs)}, 95 of 100 within ${ms(summary.p95Ms)}, the longest ${ms(summary.mostMs)}; ${summary.count} poses, clocks known to ±${ms(summary.errorMs)}.`
            : replay
              ? 'Not measured in a replay: its samples are of another time.'
              : 'Nothing measured yet.'}
        </p>
        <div class="bars-of" role="img" aria-label={barsText(side, summary)} ref={box} />
      </section>
    );
  };
  const Card = () => (
    <>
      <h3>Delay from sample to page</h3>
      <p class="lead">
        From the moment the glove measured to the moment this page has the pose. The display adds its next
        frame.
      </p>
      {hands.value.map((hand) => (
        <Hand key={hand.side} {...hand} />
      ))}
    </>
  );
  render(<Card />, element);

  function rebuild(): void {
    for (const chart of charts.values()) chart.destroy();
    charts.clear();
    empty.clear();
    for (const [side, box] of boxes) if (box.clientWidth > 0) charts.set(side, createBars(box));
    drawnMs = Number.NEGATIVE_INFINITY;
  }
  themeChanged.on(rebuild);

  return {
    element,
    layout: rebuild,
    draw(nowMs) {
      if (nowMs - drawnMs < DRAW_MS) return;
      drawnMs = nowMs;
      hands.value = [...live.hands].map(([side, hand]) => ({
        side,
        replay: recordingOf(hand) !== undefined,
        summary: live.connected ? delays.summary(side) : undefined,
      }));
      for (const [side, chart] of charts) {
        const sorted = delays.of(side);
        if (sorted.length === 0 && empty.has(chart)) continue;
        if (sorted.length === 0) empty.add(chart);
        else empty.delete(chart);
        const { widthMs, counts } = histogramOf(sorted, BARS);
        chart.setData([counts.map((_, bar) => (bar + 0.5) * widthMs), counts]);
      }
    },
  };
}

const ms = (value: number): string => (Number.isFinite(value) ? `${value.toFixed(1)} ms` : 'not known');

const barsText = (side: HandSide, summary: DelaySummary | undefined): string =>
  summary
    ? `Bars: how many poses of the ${side} hand took how long; most about ${ms(summary.medianMs)}`
    : `No delays of the ${side} hand yet`;

function createBars(box: HTMLElement): uPlot {
  const [ink, line, fill] = [colourOf('--ink'), colourOf('--line'), colourOf('--accent')];
  const font = `${Math.round(0.9 * Number.parseFloat(getComputedStyle(document.documentElement).fontSize))}px system-ui, sans-serif`;
  const axis = { stroke: ink, font, labelFont: font, ticks: { stroke: line, width: 1 } };
  return new uPlot(
    {
      width: box.clientWidth,
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
    },
    [[], []],
    box,
  );
}
