import { afterEach, beforeEach, expect, it, vi } from 'vitest';
import { watchHolders } from '../../src/stream/watch-holders.js';

beforeEach(() => {
  vi.useFakeTimers({ toFake: ['setInterval', 'clearInterval', 'performance'] });
});
afterEach(() => {
  vi.useRealTimers();
});

const EVERY_MS = 10;

/** A connection that is to be watched until `untilMs`, and what it was asked. */
function connection(untilMs: number) {
  const looks: { nowMs: number; late: boolean }[] = [];
  return {
    looks,
    drawLine() {},
    watch(nowMs: number, late: boolean) {
      looks.push({ nowMs, late });
      return nowMs < untilMs;
    },
  };
}

it('nothing runs while nobody holds anything, and every connection is looked at while one does', () => {
  const [holder, onlooker] = [connection(performance.now() + 1100), connection(0)];
  const watch = watchHolders([], new Set([holder, onlooker]), EVERY_MS);
  vi.advanceTimersByTime(1000);
  expect(holder.looks).toEqual([]);
  expect(vi.getTimerCount()).toBe(0);

  watch.wake();
  watch.wake();
  expect(vi.getTimerCount()).toBe(1);
  vi.advanceTimersByTime(1000);
  expect(holder.looks).toHaveLength(10);
  expect(onlooker.looks).toEqual(holder.looks);
  // It slept for a second, which does not make it late.
  expect(holder.looks.some(({ late }) => late)).toBe(false);
  expect(vi.getTimerCount()).toBe(0);

  watch.wake();
  expect(vi.getTimerCount()).toBe(1);
  watch.end();
  expect(vi.getTimerCount()).toBe(0);
  // What was still being answered as the service ended keeps nothing running.
  watch.wake();
  expect(vi.getTimerCount()).toBe(0);
});

it('a look that comes late says so', () => {
  const holder = connection(Number.POSITIVE_INFINITY);
  const watch = watchHolders([], new Set([holder]), EVERY_MS);
  watch.wake();
  vi.advanceTimersByTime(EVERY_MS);
  const stalled = performance.now() + 70;
  vi.spyOn(performance, 'now').mockReturnValue(stalled);
  vi.advanceTimersByTime(EVERY_MS);
  expect(holder.looks.map(({ late }) => late)).toEqual([false, true]);
  vi.restoreAllMocks();
  watch.end();
});
