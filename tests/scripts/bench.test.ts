import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import fc from 'fast-check';
import { expect, it } from 'vitest';
import { type Figures, percentile, timeInTurns } from '../../scripts/bench/figure.js';
import { changeOf, saveLanded, withRatios } from '../../scripts/bench/landed.js';
import { asMarkdown, asText } from '../../scripts/bench/table.js';
import { readCost } from '../../scripts/load/bed.js';
import { Delays } from '../../scripts/load/delays.js';

const figures: Figures = {
  quick: { value: 0.8, unit: 'x (1000 ns)', bar: 1, better: 'lower', reference: 'a reference' },
  slow: { value: 400.4, unit: 'x real time', bar: 500, better: 'higher', reference: 'none' },
};

it('percentiles are by nearest rank', () => {
  const values = [15, 20, 35, 40, 50];
  // The worked example of the nearest-rank method in "Percentile", Wikipedia (from memory).
  expect([5, 30, 40, 50, 100].map((p) => percentile(values, p))).toEqual([15, 20, 20, 35, 50]);
});

it('delays give the percentiles of the delays themselves', () => {
  const delays = fc.array(fc.integer({ min: 0, max: 100_000 }), { minLength: 1 });
  fc.assert(
    fc.property(delays, fc.integer({ min: 1, max: 100 }), (values, p) => {
      const counted = new Delays();
      for (const value of values) counted.add(value);
      expect(counted.percentile(p)).toBe(percentile(values, p));
    }),
    { numRuns: 30 },
  );
});

it('delays that are out of range count as the nearest that is in it, and none have no percentile', () => {
  const delays = new Delays();
  expect(delays.percentile(50)).toBeNaN();
  delays.add(-5);
  delays.add(1e9);
  expect([delays.percentile(1), delays.percentile(100)]).toEqual([0, 100_000]);
  delays.reset();
  expect(delays.count).toBe(0);
});

it('the cost of a process is read from what Linux says of it, whatever its name', () => {
  const head = '123 (a) b (c) S 1 123 123 0 -1 4194304 100 0 0 0';
  const stat = `${head} 250 50 0 0 20 0 11 0 1000 1000000 2000\n`;
  const status = 'Name:\ta) b (c\nVmPeak:\t  999999 kB\nVmRSS:\t   65536 kB\nThreads:\t11\n';
  expect(readCost(stat, status)).toEqual({ cpuUs: 3_000_000, residentMb: 64 });
});

it('turns give each function its own time and its ratio to the first', () => {
  let sink = 0;
  const work = (steps: number) => () => {
    for (let i = 0; i < steps; i++) sink += Math.sqrt(i);
  };
  const { ns, ratiosToFirst } = timeInTurns([work(500), work(5000)], { rounds: 5, calls: 400 });
  expect(ns).toHaveLength(2);
  expect(ratiosToFirst[0]).toBe(1);
  expect(ratiosToFirst[1]).toBeGreaterThan(2);
  expect(sink).toBeGreaterThan(0);
});

it('only ratios are kept as landed, and compared', () => {
  expect(withRatios({ quick: 1, other: 3 }, figures)).toEqual({ quick: 0.8, other: 3 });
  expect(changeOf('quick', 0.9, { quick: 1 })).toBe('-10 %');
  expect(changeOf('quick', 1.25, { quick: 1 })).toBe('+25 %');
  expect(changeOf('slow', 400, { quick: 1 })).toBe('');
});

it('landed figures are saved over those of the file', () => {
  const folder = mkdtempSync(join(tmpdir(), 'tautline-test-'));
  const file = join(folder, 'landed.json');
  writeFileSync(file, '{"other": 3}');
  saveLanded(figures, file);
  expect(JSON.parse(readFileSync(file, 'utf8'))).toEqual({ other: 3, quick: 0.8 });
  rmSync(folder, { recursive: true });
});

it('tables say whether each bar holds, in text and in Markdown', () => {
  const landed = { quick: 1 };
  expect(asText(figures, landed)).toBe(
    'quick  0.8 x (1000 ns)  <= 1    holds   -20 %  a reference\n' +
      'slow   400 x real time  >= 500  MISSED         none',
  );
  expect(asMarkdown(figures, landed)).toBe(
    '| figure | measured | bar |  | since landed | reference in the same run |\n' +
      '| --- | --- | --- | --- | --- | --- |\n' +
      '| quick | 0.8 x (1000 ns) | <= 1 | holds | -20 % | a reference |\n' +
      '| slow | 400 x real time | >= 500 | MISSED |  | none |',
  );
});
