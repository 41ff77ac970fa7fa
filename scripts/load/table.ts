import { arrived, type Cell, ENCODINGS } from './cells.js';

const HEAD = [
  'gloves',
  'Hz',
  'subscribers',
  ...ENCODINGS.flatMap((e) => [`${e}: CPU`, 'p50', 'p99', 'poses', 'MB']),
];

const line = (cells: readonly unknown[]): string => `| ${cells.join(' | ')} |`;

/** A row for each load, both encodings side by side. */
export function loadTable(cells: readonly Cell[]): string {
  const rows = new Map<string, string[]>();
  for (const cell of cells) {
    const load = [cell.gloves, cell.rateHz, cell.subscribers].join(' | ');
    const row = rows.get(load) ?? [];
    rows.set(load, row);
    row.push(
      `${cell.cpuPercent.toFixed(0)} %`,
      milliseconds(cell.p50Us),
      milliseconds(cell.p99Us),
      `${Math.min(100, arrived(cell)).toFixed(0)} %`,
      cell.residentMb.toFixed(0),
    );
  }
  return [
    line(HEAD),
    line(HEAD.map(() => '--:')),
    ...[...rows].map(([load, row]) => line([load, ...row])),
  ].join('\n');
}

const milliseconds = (us: number): string =>
  us >= 100_000 ? '>100' : (us / 1000).toFixed(us < 9950 ? 2 : 0);
