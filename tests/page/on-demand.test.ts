import { afterEach, beforeEach, expect, it, vi } from 'vitest';
import { onDemand } from '../../src/page/on-demand.js';

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
