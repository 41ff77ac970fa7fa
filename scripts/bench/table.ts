import type { Figure, Figures } from './figure.js';
import { changeOf, type Landed } from './landed.js';

const HEAD = ['figure', 'measured', 'bar', '', 'since landed', 'reference in the same run'];

export const holds = ({ value, bar, better }: Figure): boolean =>
  better === 'lower' ? value <= bar : value >= bar;

function rowsOf(figures: Figures, landed: Landed): string[][] {
  return Object.entries(figures).map(([name, figure]) => [
    name,
    `${Number(figure.value.toPrecision(3))} ${figure.unit}`,
    `${figure.better === 'lower' ? '<=' : '>='} ${figure.bar}`,
    holds(figure) ? 'holds' : 'MISSED',
    changeOf(name, figure.value, landed),
    figure.reference,
  ]);
}

/** For a terminal. */
export function asText(figures: Figures, landed: Landed): string {
  const rows = rowsOf(figures, landed);
  const widths = HEAD.map((_, column) => Math.max(...rows.map((row) => row[column].length)));
  const isLast = (column: number): boolean => column === HEAD.length - 1;
  const line = (row: string[]): string =>
    row.map((cell, column) => (isLast(column) ? cell : cell.padEnd(widths[column]))).join('  ');
  return rows.map(line).join('\n');
}

export function asMarkdown(figures: Figures, landed: Landed): string {
  const line = (cells: string[]): string => `| ${cells.join(' | ')} |`;
  return [line(HEAD), line(HEAD.map(() => '---')), ...rowsOf(figures, landed).map(line)].join('\n');
}
