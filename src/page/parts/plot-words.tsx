import { type ReadonlySignal, type Signal, useComputed } from '@preact/signals';
import { Heads } from './heads.js';
import type { PlotSamples } from './plot.js';
import { type Series, unitText } from './plot-views.js';

/** What a plot shows, in words and numbers: for those who do not see it, or want to read it. */
export interface PlotWordsText {
  caption: string;
  /** Of each line: its name, its value at the cursor, and the least, the mean and the most of what is seen. */
  rows: string[][];
}

export const NO_WORDS: PlotWordsText = { caption: '', rows: [] };

const HEADS = ['Line', 'At the cursor', 'Least', 'Mean', 'Most'] as const;

/** Least, mean and most of what is known; undefined where nothing is. */
function summaryOf(
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

/** @param at index of the sample under the cursor, or of the newest */
export function wordsOf(
  { look, data, fromS, toS }: PlotSamples,
  at: number,
  isPaused: boolean,
): PlotWordsText {
  const atS = data[0][at];
  const where = atS === null || atS === undefined ? '' : `; cursor at ${atS.toFixed(2)} s`;
  const before = isPaused ? 'moment of the pause' : 'newest sample';
  return {
    caption: `${fromS.toFixed(1)} s to ${toS.toFixed(1)} s before the ${before}${where}`.replaceAll('-', '−'),
    rows: look.series.map(({ label, unit }, i) => {
      const values = data[i + 1] ?? [];
      const found = summaryOf(values);
      const numbers = [values[at], found?.least, found?.mean, found?.most];
      return [label, ...numbers.map((value) => say(value, unit))];
    }),
  };
}

const say = (value: number | null | undefined, unit: Series['unit']): string =>
  value === null || value === undefined ? 'not known' : unitText(value, unit);

export function PlotWords({
  words,
  isOpen,
}: {
  words: ReadonlySignal<PlotWordsText>;
  /** They are read now, and worth the work. */
  isOpen: Signal<boolean>;
}) {
  const caption = useComputed(() => words.value.caption);
  const count = useComputed(() => words.value.rows.length);
  return (
    <details
      onToggle={({ currentTarget }) => {
        isOpen.value = currentTarget.open;
      }}
    >
      <summary>The plot in words</summary>
      <table class="forces">
        <caption>{caption}</caption>
        <Heads of={HEADS} />
        <tbody>
          {Array.from({ length: count.value }, (_, row) => (
            <Row key={row} words={words} row={row} />
          ))}
        </tbody>
      </table>
    </details>
  );
}

const Row = ({ words, row }: { words: ReadonlySignal<PlotWordsText>; row: number }) => (
  <tr>
    {HEADS.map((head, cell) => {
      const text = <Cell words={words} row={row} cell={cell} />;
      return cell === 0 ? (
        <th key={head} scope="row">
          {text}
        </th>
      ) : (
        <td key={head}>{text}</td>
      );
    })}
  </tr>
);

/** A text alone: another value is written into it, and nothing is rendered. */
function Cell({ words, row, cell }: { words: ReadonlySignal<PlotWordsText>; row: number; cell: number }) {
  return <>{useComputed(() => words.value.rows[row]?.[cell] ?? '')}</>;
}
