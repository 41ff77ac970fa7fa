import { type ReadonlySignal, useComputed } from '@preact/signals';
import { traceColour } from './chart-style.js';
import type { Series } from './plot-views.js';

/** The lines of a plot: which are drawn, how each looks, and its value. */
export function PlotLines({
  series,
  isShown,
  show,
  values,
}: {
  series: readonly Series[];
  isShown(one: Series): boolean;
  show(one: Series, shown: boolean): void;
  /** Of each line, in their order, at the cursor. */
  values: ReadonlySignal<readonly string[]>;
}) {
  return (
    <ul class="plot-lines" aria-label="Lines of the plot">
      {series.map((one, i) => (
        <li key={one.label}>
          <label>
            <input
              type="checkbox"
              checked={isShown(one)}
              onChange={({ currentTarget }) => show(one, currentTarget.checked)}
            />
            <Swatch of={one} />
            {one.label}
          </label>
          <span class="value">
            <Value values={values} index={i} />
          </span>
        </li>
      ))}
    </ul>
  );
}

const Swatch = ({ of: { colour, dash } }: { of: Series }) => (
  <svg viewBox="0 0 26 8" aria-hidden="true" style={{ color: `var(${traceColour(colour)})` }}>
    <path d="M0 4H26" stroke-dasharray={dash.join(' ')} />
  </svg>
);

function Value({ values, index }: { values: ReadonlySignal<readonly string[]>; index: number }) {
  return <>{useComputed(() => values.value[index] ?? '–')}</>;
}
