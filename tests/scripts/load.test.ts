import { expect, it } from 'vitest';
import { arrived, type Cell, ENCODINGS, GLOVES, RATES_HZ, SUBSCRIBERS } from '../../scripts/load/cells.js';
import { withMeasured } from '../../scripts/load/document.js';
import { loadPlot } from '../../scripts/load/plot.js';
import { loadTable } from '../../scripts/load/table.js';

const cells: Cell[] = GLOVES.flatMap((gloves) =>
  RATES_HZ.flatMap((rateHz) =>
    SUBSCRIBERS.flatMap((subscribers) =>
      ENCODINGS.map((encoding) => ({
        gloves,
        rateHz,
        subscribers,
        encoding,
        cpuPercent: 12.4,
        residentMb: 70.2,
        p50Us: 310,
        p99Us: 100_000,
        posesPerS: 0.5 * gloves * rateHz * subscribers,
        duePerS: gloves * rateHz * subscribers,
        dropped: 0,
        readersCpuPercent: 3,
      })),
    ),
  ),
);

it('a row for each load holds both encodings', () => {
  const lines = loadTable(cells).split('\n');
  expect(lines).toHaveLength(2 + cells.length / 2);
  expect(lines[2]).toBe('| 1 | 100 | 1 | 12 % | 0.31 | >100 | 50 % | 70 | 12 % | 0.31 | >100 | 50 % | 70 |');
  expect(new Set(lines.map((line) => line.split('|').length))).toEqual(new Set([15]));
  expect(arrived(cells[0])).toBe(50);
});

it('the plot has a line for each rate in each of its panels, and nothing that is no number', () => {
  const plot = loadPlot(cells);
  expect(plot.match(/<polyline/g)).toHaveLength(2 * GLOVES.length * ENCODINGS.length * RATES_HZ.length);
  expect(plot).not.toMatch(/NaN|undefined|Infinity/);
  // Nothing is drawn above its panel, however slow it was.
  const heights = [...plot.matchAll(/points="([^"]+)"/g)].flatMap(([, points]) =>
    points.split(' ').map((point) => Number(point.split(',')[1])),
  );
  expect(Math.min(...heights)).toBeGreaterThan(70);
});

it('what was measured takes the place between the marks, and nothing else changes', () => {
  const document = 'before\n<!-- measured: begin -->\nold\n<!-- measured: end -->\nafter';
  const written = withMeasured(document, 'new');
  expect(written).toBe('before\n<!-- measured: begin -->\n\nnew\n\n<!-- measured: end -->\nafter');
  expect(withMeasured(written, 'new')).toBe(written);
  expect(() => withMeasured('no marks', 'new')).toThrow('lacks');
});
