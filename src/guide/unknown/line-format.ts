/** How lines of text that nobody has described yet are cut into numbers. */
export interface LineFormat {
  separator: string;
  radix: 10 | 16;
  columns: number;
  /** Per column: it holds a number in nearly every line. */
  numeric: readonly boolean[];
}

const SEPARATORS = [',', ';', '\t', '|', ':', '/', ' '] as const;
/** Part of the lines that must fit; a line may be cut or damaged. */
const FITS = 0.9;
/** Lines to judge by, at least. */
const ENOUGH = 20;
const MOST_COLUMNS = 64;
const DECIMAL = /^[+-]?\d+(\.\d+)?$/;
const HEX = /^(0x)?[0-9a-f]+$/i;

/** @returns undefined when they are no lines of numbers with a separator in between */
export function formatOf(lines: readonly string[]): LineFormat | undefined {
  const whole = lines.map((line) => line.trim()).filter((line) => line !== '');
  if (whole.length < ENOUGH) return undefined;
  for (const separator of SEPARATORS) {
    const rows = whole.map((line) => cut(line, separator));
    const columns = mostOften(rows.map((row) => row.length));
    const fitting = rows.filter((row) => row.length === columns);
    if (columns > MOST_COLUMNS || fitting.length < FITS * rows.length) continue;
    // One number a line has no separator: whichever it is.
    if (columns === 1 && separator !== ',') continue;
    for (const radix of [10, 16] as const) {
      const numeric = Array.from({ length: columns }, (_, c) => {
        const good = fitting.filter((row) => (radix === 10 ? DECIMAL : HEX).test(row[c])).length;
        return good >= FITS * fitting.length;
      });
      // A label may stand in front; text with a number in it is something else.
      if (numeric.filter(Boolean).length * 2 > columns) return { separator, radix, columns, numeric };
    }
  }
  return undefined;
}

/** The numbers of a line, NaN where there is none; undefined for a line that does not fit. */
export function numbersOf(
  line: string,
  { separator, radix, columns, numeric }: LineFormat,
): number[] | undefined {
  const row = cut(line.trim(), separator);
  if (row.length !== columns) return undefined;
  const values = row.map((text, c) => {
    if (!numeric[c]) return Number.NaN;
    if (radix === 10) return DECIMAL.test(text) ? Number(text) : Number.NaN;
    return HEX.test(text) ? Number.parseInt(text, 16) : Number.NaN;
  });
  return values.every((value, c) => !numeric[c] || !Number.isNaN(value)) ? values : undefined;
}

const cut = (line: string, separator: string): string[] =>
  (separator === ' ' ? line.split(/\s+/) : line.split(separator)).map((text) => text.trim());

function mostOften(values: readonly number[]): number {
  const count = new Map<number, number>();
  for (const value of values) count.set(value, (count.get(value) ?? 0) + 1);
  return [...count].sort((a, b) => b[1] - a[1])[0]?.[0] ?? 0;
}

/** What a column is that is no sensor, from how it runs on. */
export type Clockwork = 'timeUs' | 'timeMs' | 'skip';

/**
 * Columns that only ever rise: the glove's clock, in whichever unit keeps pace with ours, or a counter.
 * @param rows values by line; @param timesS when each line came
 */
export function clockworkOf(
  rows: readonly (readonly number[])[],
  timesS: readonly number[],
): (Clockwork | undefined)[] {
  const columns = rows[0]?.length ?? 0;
  const span = timesS[timesS.length - 1] - timesS[0];
  return Array.from({ length: columns }, (_, c) => {
    let rises = 0;
    for (let k = 1; k < rows.length; k++) {
      const step = rows[k][c] - rows[k - 1][c];
      if (step < 0) return undefined;
      if (step > 0) rises++;
    }
    // A sensor at rest creeps, but not at every line.
    if (rises < 0.5 * (rows.length - 1)) return undefined;
    const perS = (rows[rows.length - 1][c] - rows[0][c]) / span;
    if (perS > 0.8e3 && perS < 1.25e3) return 'timeMs';
    return perS > 0.8e6 && perS < 1.25e6 ? 'timeUs' : 'skip';
  });
}
