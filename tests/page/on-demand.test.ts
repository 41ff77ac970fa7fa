import { afterEach, beforeEach, expect, it, vi } from 'vitest';
import { atMostEvery, onDemand } from '../../src/page/on-demand.js';

/** Frames of the display: 60 a second while the page is seen. */
let frames: ((nowMs: number) => void)[];
const frame = () => {
  for (const draw of frames.splice(0)) draw(performance.now());
};

beforeEach(() => {
  vi.useFakeTimers();
  frames = [];
  vi.stubGlobal('requestAnimationFrame', (draw: (nowMs: number) => void) => frames.push(draw));
});
afterEach(() => {
  vi.useRealTimers();
  vi.unstubAllGlobals();
});

it('runs nothing that nobody asked for, and once what was asked for often', () => {
  const work = vi.fn();
  const ask = onDemand(work);
  expect([frames.length, vi.getTimerCount()]).toEqual([0, 0]);
  for (let n = 0; n < 5; n++) ask();
  expect(frames.length).toBe(1);
  frame();
  expect(work).toHaveBeenCalledTimes(1);
  expect([frames.length, vi.getTimerCount()]).toEqual([0, 0]);
});

it('works at most once in its period, and never loses what was asked for last', () => {
  const work = vi.fn();
  const ask = onDemand(work, 100);
  ask();
  frame();
  vi.advanceTimersByTime(30);
  ask();
  frame();
  expect(work).toHaveBeenCalledTimes(1);
  vi.advanceTimersByTime(69);
  frame();
  expect(work).toHaveBeenCalledTimes(1);
  vi.advanceTimersByTime(1);
  frame();
  expect(work).toHaveBeenCalledTimes(2);
});

it('may ask again from inside, for the next frame', () => {
  let left = 3;
  const ask = onDemand(() => {
    if (--left > 0) ask();
  });
  ask();
  for (let n = 0; n < 10; n++) frame();
  expect(left).toBe(0);
  expect(frames.length).toBe(0);
});

it('does at once what writes only where something changes, then at most once in a period, and asks for no frame', () => {
  const work = vi.fn();
  const ask = atMostEvery(100, work);
  ask();
  expect(work).toHaveBeenCalledTimes(1);
  for (let ms = 0; ms < 1000; ms += 10) {
    vi.advanceTimersByTime(10);
    ask();
  }
  expect(work.mock.calls.length).toBeGreaterThanOrEqual(10);
  expect(work.mock.calls.length).toBeLessThanOrEqual(11);
  // What was asked for last is done, and nothing after that.
  vi.advanceTimersByTime(1000);
  const done = work.mock.calls.length;
  vi.advanceTimersByTime(1000);
  expect([work.mock.calls.length, vi.getTimerCount(), frames.length]).toEqual([done, 0, 0]);
});
