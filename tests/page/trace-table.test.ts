import { describe, expect, it } from 'vitest';
import { createTraceTable } from '../../src/page/trace-table.js';

describe('a table of traces', () => {
  it('gives the rows of a span of time, in the columns that are asked for', () => {
    const table = createTraceTable(3, 100);
    for (let n = 0; n < 10; n++) table.add(n / 10, [n, -n, 2 * n]);
    expect(table.slice([2, 0], 0.25, 0.5)).toEqual([
      [0.3, 0.4, 0.5],
      [6, 8, 10],
      [3, 4, 5],
    ]);
    expect(table.newestS).toBe(0.9);
    expect(table.slice([0], 5, 6)).toEqual([[], []]);
  });
  it('keeps the newest rows, as many as were asked for, however many come', () => {
    const table = createTraceTable(1, 50);
    for (let n = 0; n < 1234; n++) table.add(n / 100, [n]);
    const [times, values] = table.slice([0], Number.NEGATIVE_INFINITY, Number.POSITIVE_INFINITY);
    expect([times.length, values[0], values.at(-1)]).toEqual([50, 1184, 1233]);
  });
  it('leaves a gap where nothing came or nothing is known', () => {
    const table = createTraceTable(1, 50);
    table.add(1, [1]);
    table.add(1.1, [Number.NaN]);
    table.add(3.1, [3]);
    expect(table.slice([0], 0, 9)).toEqual([
      [1, 1.1, 2.1, 3.1],
      [1, null, null, 3],
    ]);
  });
  it('starts over with another clock, and a copy stays as it was', () => {
    const table = createTraceTable(1, 50);
    table.add(10, [1]);
    const copy = table.copy();
    table.add(2, [7]);
    expect(table.slice([0], 0, 99)).toEqual([[2], [7]]);
    expect(copy.slice([0], 0, 99)).toEqual([[10], [1]]);
    expect([copy.newestS, createTraceTable(1, 5).newestS]).toEqual([10, Number.NaN]);
  });
});
