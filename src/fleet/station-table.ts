import type { SeenStation } from './stations.js';
import type { GloveStatus } from './status.js';

/** The table of stations, as lines of text. */

const HEAD = ['SITE', 'STATION', 'STATE', 'HAND', 'GLOVE', 'LINK', 'RATE', 'BATTERY', 'FW', 'TROUBLE'];
/** A station says something every five seconds. */
const QUIET_MS = 20_000;
const MAX_CELL = 60;

export function stationLines(stations: readonly SeenStation[], nowMs: number): string[] {
  const on = stations.filter(({ status }) => status.online).length;
  const rows = stations.flatMap((station) => rowsOf(station, nowMs));
  const widths = HEAD.map((head, column) => Math.max(head.length, ...rows.map((row) => row[column].length)));
  const line = (cells: readonly string[]): string =>
    cells
      .map((cell, column) => cell.padEnd(widths[column]))
      .join('  ')
      .trimEnd();
  return [
    `${stations.length} ${stations.length === 1 ? 'station' : 'stations'}, ${on} on line`,
    ...(rows.length > 0 ? ['', line(HEAD), ...rows.map(line)] : []),
  ];
}

/** One row a glove. */
function rowsOf({ site, station, status, heardMs }: SeenStation, nowMs: number): string[][] {
  const state = !status.online ? 'off line' : nowMs - heardMs > QUIET_MS ? 'quiet' : 'on line';
  const own = [site, station, state];
  if (status.gloves.length === 0) return [[...own, '', '', '', '', '', '', '']];
  return status.gloves.map((glove, i) => [...(i === 0 ? own : ['', '', '']), ...cellsOf(glove)].map(plain));
}

function cellsOf(glove: GloveStatus): string[] {
  const { hand, name, link, armed, rateHz, batteryMv, firmwareVersion, troubles } = glove;
  const [first, ...more] = troubles.toSorted(
    (a, b) => Number(b.state === 'wrong') - Number(a.state === 'wrong'),
  );
  const trouble = first ? `${first.says}${more.length > 0 ? ` (and ${more.length} more)` : ''}` : '';
  return [
    armed ? `${hand} (armed)` : hand,
    name,
    link,
    `${rateHz.toFixed(0)} Hz`,
    batteryMv === undefined ? '' : `${(batteryMv / 1000).toFixed(2)} V`,
    firmwareVersion === undefined ? '' : String(firmwareVersion),
    trouble,
  ];
}

/** A terminal obeys control characters, and whoever may publish may write them. */
const plain = (cell: string): string => {
  const safe = cell.replaceAll(/[\p{Cc}\p{Cf}\p{Zl}\p{Zp}]/gu, '?');
  return safe.length > MAX_CELL ? `${safe.slice(0, MAX_CELL - 1)}…` : safe;
};
