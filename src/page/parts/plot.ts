import '../valid-language.js';
import uPlot from 'uplot';
import { make, setAttribute } from '../dom.js';
import { colourOf } from '../theme.js';
import type { Series, Unit } from './plot-views.js';

/** A plot against time, with an axis for each unit. Times are seconds before the newest sample: 0 at the right. */
export interface Plot {
  readonly element: HTMLElement;
  /** Other lines. @param scales ends of each unit's scale; undefined: as the data has it */
  build(series: readonly Series[], scales: ReadonlyMap<Unit, [number, number] | undefined>): void;
  /** @param data times and an array for each line, in its unit */
  draw(data: (number | null)[][], fromS: number, toS: number): void;
  /** Index into the data under the cursor; undefined: none. */
  readonly at: number | undefined;
  /** What is drawn, to be saved. */
  readonly canvas: HTMLCanvasElement | undefined;
  layout(): void;
}

export const TRACE_COLOURS = 6;
export const traceColour = (index: number): `--${string}` => `--trace-${index % TRACE_COLOURS}`;
/** A drag that is shorter chooses nothing, px. */
const SHORT_PX = 6;
const KEY_STEP = 0.02;
const UNIT_NAME: Record<Unit, string> = {
  '%': '%',
  counts: 'counts',
  N: 'N',
  ms: 'ms',
  Hz: 'samples a second',
};

/**
 * @param chosen a span was dragged, s
 * @param reset the whole is asked for
 * @param moved the cursor
 */
export function createPlot(
  chosen: (fromS: number, toS: number) => void,
  reset: () => void,
  moved: () => void,
): Plot {
  const element = make('div', { class: 'plot', tabindex: 0, role: 'group' });
  let chart: uPlot | undefined;
  let lines: readonly Series[] = [];
  let span: [number, number] = [-10, 0];
  let size = { width: 0, height: 0 };

  const measure = () => {
    size = { width: Math.floor(element.clientWidth), height: Math.floor(element.clientHeight) };
  };
  const options = (
    series: readonly Series[],
    scales: ReadonlyMap<Unit, [number, number] | undefined>,
  ): uPlot.Options => {
    const [ink, line] = [colourOf('--ink'), colourOf('--line')];
    const font = `${Math.round(0.9 * Number.parseFloat(getComputedStyle(document.documentElement).fontSize))}px system-ui, sans-serif`;
    const axis = { stroke: ink, font, labelFont: font, ticks: { stroke: line, width: 1 } };
    const units = [...new Set(series.map(({ unit }) => unit))];
    return {
      ...size,
      legend: { show: false },
      cursor: { drag: { x: true, y: false, setScale: false, dist: SHORT_PX }, points: { size: 7 } },
      scales: {
        x: { time: false, range: () => span },
        ...Object.fromEntries(
          units.map((unit) => {
            const ends = scales.get(unit);
            return [unit, ends ? { range: () => ends } : {}];
          }),
        ),
      },
      axes: [
        {
          ...axis,
          label: 'seconds, newest sample at 0',
          labelSize: 20,
          size: 28,
          grid: { stroke: line, width: 1 },
        },
        ...units.map((unit, i) => ({
          ...axis,
          scale: unit,
          label: UNIT_NAME[unit],
          labelSize: 18,
          size: 46,
          // The first unit at the left with a grid, the others at the right.
          side: i === 0 ? 3 : 1,
          grid: { show: i === 0, stroke: line, width: 1 },
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
  };

  element.addEventListener('dblclick', reset);
  element.addEventListener('keydown', (event) => {
    const step = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
    if (step === undefined || !chart) return;
    event.preventDefault();
    const { width, height } = chart.over.getBoundingClientRect();
    const left = chart.cursor.left ?? -1;
    const from = left < 0 ? width : left;
    chart.setCursor({
      left: Math.min(width, Math.max(0, from + step * width * KEY_STEP)),
      top: height / 2,
    });
  });
  return {
    element,
    build(series, scales) {
      lines = series;
      measure();
      chart?.destroy();
      chart = undefined;
      setAttribute(
        element,
        'aria-label',
        `Plot of ${lines.map(({ label }) => label).join(', ') || 'nothing'}. Arrow keys move its cursor; the values are in words below.`,
      );
      if (size.width === 0 || size.height === 0) return;
      chart = new uPlot(options(series, scales), [[], ...series.map(() => [])], element);
    },
    draw(data, fromS, toS) {
      span = [fromS, toS];
      chart?.setData(data as uPlot.AlignedData, true);
    },
    get at() {
      const left = chart?.cursor.left ?? -1;
      return left < 0 ? undefined : (chart?.cursor.idx ?? undefined);
    },
    get canvas() {
      return chart?.ctx.canvas;
    },
    layout() {
      measure();
      if (size.width > 0 && size.height > 0) chart?.setSize(size);
    },
  };
}
