import '../valid-language.js';
import { type ReadonlySignal, useComputed, useSignalEffect } from '@preact/signals';
import type { RefObject } from 'preact';
import { useRef } from 'preact/hooks';
import uPlot from 'uplot';
import { colourOf, theme } from '../theme.js';
import { type Size, useSize } from '../use-size.js';
import { axisStyle, traceColour } from './chart-style.js';
import type { Series, Unit } from './plot-views.js';

/** The lines of a plot, and the ends of each unit's scale; undefined: as the data has it. */
export interface PlotLook {
  series: readonly Series[];
  scales: ReadonlyMap<Unit, [number, number] | undefined>;
}

/** Samples of a look. Times are seconds before the newest one: 0 at the right. */
export interface PlotSamples {
  look: PlotLook;
  /** Times and an array for each line, in its unit. */
  data: (number | null)[][];
  fromS: number;
  toS: number;
}

interface PlotProps {
  look: ReadonlySignal<PlotLook>;
  samples: ReadonlySignal<PlotSamples>;
  /** The chart, while there is one: for its cursor, and its picture. */
  chart: RefObject<uPlot | null>;
  /** A span was dragged, s. */
  chosen(fromS: number, toS: number): void;
  /** The whole is asked for. */
  reset(): void;
  /** The cursor is elsewhere. */
  moved(): void;
}

/** A drag that is shorter chooses nothing, px. */
const SHORT_PX = 6;
/** Part of the width by which a key moves the cursor. */
const KEY_STEP = 0.02;
const UNIT_NAME: Record<Unit, string> = {
  '%': '%',
  counts: 'counts',
  N: 'N',
  ms: 'ms',
  Hz: 'samples a second',
};

/** A plot against time, with an axis for each unit. What comes with the samples is drawn by the chart alone. */
export function Plot(props: PlotProps) {
  const { look, samples, chart, reset } = props;
  const { box, size } = useSize<HTMLDivElement>();
  /** Of the chart that is there. */
  const built = useRef<PlotLook | undefined>(undefined);
  useSignalEffect(() => {
    theme.value;
    const { width, height } = size.value;
    const now = look.value;
    if (!box.current || width === 0 || height === 0) return undefined;
    const drawn = new uPlot(chartOptions(now, size.value, props), dataOf(samples.peek(), now), box.current);
    chart.current = drawn;
    built.current = now;
    return () => {
      chart.current = null;
      drawn.destroy();
    };
  });
  useSignalEffect(() => {
    const { look: of } = samples.value;
    // Of other lines: the chart that is made for them takes them itself.
    if (of === built.current) chart.current?.setData(dataOf(samples.value, of), true);
  });
  const label = useComputed(
    () =>
      `Plot of ${look.value.series.map((one) => one.label).join(', ') || 'nothing'}. Arrow keys move its cursor; the values are in words below.`,
  );
  return (
    // biome-ignore lint/a11y/useSemanticElements: a fieldset is of a form
    <div
      class="plot"
      // biome-ignore lint/a11y/noNoninteractiveTabindex: its cursor is moved by keys
      tabIndex={0}
      role="group"
      aria-label={label}
      ref={box}
      onDblClick={reset}
      onKeyDown={(event) => {
        const step = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
        if (step === undefined || !chart.current) return;
        event.preventDefault();
        stepCursor(chart.current, step);
      }}
    />
  );
}

const dataOf = ({ look, data }: PlotSamples, now: PlotLook): uPlot.AlignedData =>
  (look === now && data.length > now.series.length
    ? data
    : [[], ...now.series.map(() => [])]) as uPlot.AlignedData;

function stepCursor({ over, cursor, setCursor }: uPlot, step: number): void {
  const { width, height } = over.getBoundingClientRect();
  const left = cursor.left ?? -1;
  const from = left < 0 ? width : left;
  setCursor({ left: Math.min(width, Math.max(0, from + step * width * KEY_STEP)), top: height / 2 });
}

/** Index of the sample under the cursor; undefined: the cursor is not on the plot. */
export const cursorAt = (chart: uPlot | null): number | undefined =>
  chart && (chart.cursor.left ?? -1) >= 0 ? (chart.cursor.idx ?? undefined) : undefined;

function chartOptions(
  { series, scales }: PlotLook,
  size: Size,
  { samples, chosen, moved }: PlotProps,
): uPlot.Options {
  const { line, axis } = axisStyle();
  const grid = { stroke: line, width: 1 };
  const units = [...new Set(series.map(({ unit }) => unit))];
  const scaleOf = (unit: Unit): uPlot.Scale => {
    const ends = scales.get(unit);
    return ends ? { range: () => ends } : {};
  };
  return {
    ...size,
    legend: { show: false },
    cursor: { drag: { x: true, y: false, setScale: false, dist: SHORT_PX }, points: { size: 7 } },
    scales: {
      x: { time: false, range: () => [samples.peek().fromS, samples.peek().toS] },
      ...Object.fromEntries(units.map((unit) => [unit, scaleOf(unit)])),
    },
    axes: [
      { ...axis, label: 'seconds, newest sample at 0', labelSize: 20, size: 28, grid },
      ...units.map((unit, i) => ({
        ...axis,
        scale: unit,
        label: UNIT_NAME[unit],
        labelSize: 18,
        size: 46,
        // The first unit at the left with a grid, the others at the right.
        side: (i === 0 ? 3 : 1) as uPlot.Axis.Side,
        grid: { show: i === 0, ...grid },
      })),
    ],
    series: [
      {},
      ...series.map(({ label, unit, colour, dash }) => ({
        label,
        scale: unit,
        stroke: colourOf(traceColour(colour)),
        width: 1.6,
        dash: [...dash],
        points: { show: false },
      })),
    ],
    hooks: {
      setCursor: [moved],
      setSelect: [
        (self) => {
          const { left, width } = self.select;
          if (width < SHORT_PX) return;
          chosen(self.posToVal(left, 'x'), self.posToVal(left + width, 'x'));
          self.setSelect({ left: 0, top: 0, width: 0, height: 0 }, false);
        },
      ],
    },
  };
}
