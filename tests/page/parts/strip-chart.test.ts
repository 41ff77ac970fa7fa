import { afterEach, beforeEach, expect, it, vi } from 'vitest';

/** What the chart asked its canvas for. */
let calls: string[];
let canvas: HTMLCanvasElement;
const HEIGHT = 24;

beforeEach(() => {
  calls = [];
  const context = new Proxy(
    {},
    {
      get: (_, name) => (name === 'canvas' ? canvas : () => calls.push(String(name))),
      set: () => true,
    },
  );
  const element = () => ({
    style: {},
    hidden: false,
    clientWidth: 100,
    clientHeight: HEIGHT,
    setAttribute() {},
    append() {},
    getContext: () => context,
  });
  canvas = element() as unknown as HTMLCanvasElement;
  vi.resetModules();
  vi.stubGlobal('document', { createElement: element, body: element(), documentElement: { dataset: {} } });
  vi.stubGlobal('devicePixelRatio', 1);
  vi.stubGlobal('getComputedStyle', () => ({ color: 'black' }));
  vi.stubGlobal('matchMedia', () => ({ matches: false, addEventListener() {} }));
});
afterEach(() => vi.unstubAllGlobals());

const SECONDS = 6;
const COUNT = 121;
const times = Float64Array.from({ length: COUNT }, (_, i) => (i / (COUNT - 1) - 1) * SECONDS);

async function chart() {
  const { createStripChart } = await import('../../../src/page/parts/strip-chart.js');
  const made = createStripChart(SECONDS, [{ low: 0, high: 1, colour: '--accent' }]);
  made.attach(canvas);
  return (value: (i: number) => number, from = 0, at = times) =>
    made.draw(at, [Float64Array.from({ length: COUNT }, (_, i) => value(i))], from, COUNT);
}

it('draws a line that lies flat once, and no more while it lies there', async () => {
  const draw = await chart();
  expect(draw(() => 0.5)).toBe(true);
  const before = calls.length;
  // Noise that is less than what is seen.
  expect(draw((i) => 0.5 + 0.002 * (i % 2))).toBe(false);
  expect(calls.length).toBe(before);
});

it('draws as soon as a part of it moves, and until what moved has left the strip', async () => {
  const draw = await chart();
  draw(() => 0.5);
  const step = (at: number) => (i: number) => (i >= at ? 0.6 : 0.5);
  expect(draw(step(COUNT - 1))).toBe(true);
  expect(draw(step(COUNT / 2))).toBe(true);
  expect(draw(() => 0.6)).toBe(true);
  expect(draw(() => 0.6)).toBe(false);
});

it('sees a creep of which no step is seen', async () => {
  const draw = await chart();
  let drawn = 0;
  for (let n = 0; n < 200; n++) if (draw(() => 0.2 + n * 0.003)) drawn++;
  // 0.6 of 24 px, in steps of no more than half a pixel.
  expect(drawn).toBeGreaterThan((0.6 * HEIGHT) / 0.5);
});

it('draws on while the strip is not yet full, and over a silence', async () => {
  const draw = await chart();
  draw(() => 0.5);
  expect(draw(() => 0.5, COUNT / 2)).toBe(true);
  draw(() => 0.5);
  const torn = times.map((s, i) => (i < 60 ? s - 1 : s));
  expect(draw(() => 0.5, 0, torn)).toBe(true);
});

it('takes few samples of a hand that rests for a full strip', async () => {
  const { createHistory } = await import('../../../src/page/parts/history.js');
  const { createStripChart } = await import('../../../src/page/parts/strip-chart.js');
  const made = createStripChart(SECONDS, [{ low: 0, high: 1, colour: '--accent' }]);
  made.attach(canvas);
  const history = createHistory(SECONDS, 60);
  const drawn: boolean[] = [];
  // Four a second, and none of them just at the edge of the strip.
  for (let n = 0; n < 60; n++) {
    history.add(n * 0.2503, 0, 0.5 + 0.002 * (n % 2));
    history.settle();
    drawn.push(made.draw(history.ages, [history.values], history.from, history.end));
  }
  expect(drawn.slice(0, 20)).toEqual(Array(20).fill(true));
  expect(drawn.slice(30)).toEqual(Array(30).fill(false));
});

it('draws nothing before it has a canvas, nor after that is gone', async () => {
  const { createStripChart } = await import('../../../src/page/parts/strip-chart.js');
  const made = createStripChart(SECONDS, [{ low: 0, high: 1, colour: '--accent' }]);
  const draw = () => made.draw(times, [new Float64Array(COUNT)], 0, COUNT);
  made.layout();
  expect(draw()).toBe(false);
  made.attach(canvas);
  expect(draw()).toBe(true);
  made.attach(null);
  expect(draw()).toBe(false);
  made.attach(canvas);
  expect(draw()).toBe(true);
});

it('knows of one more sample whether the strip would look as it does', async () => {
  const { createStripChart } = await import('../../../src/page/parts/strip-chart.js');
  const made = createStripChart(SECONDS, [{ low: 0, high: 1, colour: '--accent' }]);
  made.attach(canvas);
  expect(made.liesAt(0, 0.5, 0.1)).toBe(false);
  made.draw(times, [new Float64Array(COUNT).fill(0.5)], 0, COUNT);
  expect(made.liesAt(0, 0.51, 0.1)).toBe(true);
  // 0.4 of 24 px.
  expect(made.liesAt(0, 0.52, 0.1)).toBe(false);
  expect(made.liesAt(0, Number.NaN, 0.1)).toBe(false);
  // A silence, and another clock.
  expect(made.liesAt(0, 0.5, 0.6)).toBe(false);
  expect(made.liesAt(0, 0.5, -1)).toBe(false);
  made.layout();
  expect(made.liesAt(0, 0.5, 0.1)).toBe(false);
  made.draw(times, [times.map((s) => (s > -1 ? 0.9 : 0.5))], 0, COUNT);
  expect(made.liesAt(0, 0.9, 0.1)).toBe(false);
});
