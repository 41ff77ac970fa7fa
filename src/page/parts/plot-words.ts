import { make, setText } from '../dom.js';
import { type Series, unitText } from './plot-views.js';

/** What a plot shows, in words and numbers: for those who do not see it, or want to read it. */
export interface PlotWords {
  readonly element: HTMLElement;
  /** @param at index of the sample under the cursor, or of the newest */
  update(
    series: readonly Series[],
    data: (number | null)[][],
    at: number,
    span: readonly [number, number],
    paused: boolean,
  ): void;
}

/** Least, mean and most of what is known; undefined where nothing is. */
export function summaryOf(
  values: readonly (number | null)[],
): { least: number; mean: number; most: number } | undefined {
  let [least, most, sum, count] = [Number.POSITIVE_INFINITY, Number.NEGATIVE_INFINITY, 0, 0];
  for (const value of values) {
    if (value === null) continue;
    least = Math.min(least, value);
    most = Math.max(most, value);
    sum += value;
    count++;
  }
  return count === 0 ? undefined : { least, mean: sum / count, most };
}

/** @param opened they are to be read now */
export function createPlotWords(opened: () => void): PlotWords {
  const caption = make('caption');
  const head = make(
    'tr',
    {},
    ...['Line', 'At the cursor', 'Least', 'Mean', 'Most'].map((text) => make('th', { scope: 'col' }, text)),
  );
  const body = make('tbody');
  const details = make(
    'details',
    {},
    make('summary', {}, 'The plot in words'),
    make('table', { class: 'forces' }, caption, make('thead', {}, head), body),
  );
  details.addEventListener('toggle', opened);
  return {
    element: details,
    update(series, data, at, [fromS, toS], paused) {
      if (!details.open) return;
      const atS = data[0][at];
      const where = atS === null || atS === undefined ? '' : `; cursor at ${atS.toFixed(2)} s`;
      setText(
        caption,
        `${fromS.toFixed(1)} s to ${toS.toFixed(1)} s before the ${paused ? 'moment of the pause' : 'newest sample'}${where}`.replaceAll(
          '-',
          '−',
        ),
      );
      while (body.children.length > series.length) body.lastElementChild?.remove();
      series.forEach(({ label, unit }, i) => {
        let row = body.children[i];
        if (!row) {
          row = make('tr', {}, make('th', { scope: 'row' }), ...[0, 1, 2, 3].map(() => make('td')));
          body.append(row);
        }
        const found = summaryOf(data[i + 1] ?? []);
        const now = data[i + 1]?.[at];
        const texts = [
          label,
          ...[now, found?.least, found?.mean, found?.most].map((value) => say(value, unit)),
        ];
        texts.forEach((text, cell) => {
          setText(row.children[cell], text);
        });
      });
    },
  };
}

const say = (value: number | null | undefined, unit: Series['unit']): string =>
  value === null || value === undefined ? 'not known' : unitText(value, unit);
