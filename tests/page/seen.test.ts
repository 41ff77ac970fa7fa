import { afterEach, beforeEach, expect, it, vi } from 'vitest';

/** A document of which it can be said whether it is seen. */
class FakeDocument extends EventTarget {
  visibilityState = 'visible';
  become(state: 'visible' | 'hidden'): void {
    this.visibilityState = state;
    this.dispatchEvent(new Event('visibilitychange'));
  }
}
let page: FakeDocument;

beforeEach(() => {
  vi.useFakeTimers();
  vi.resetModules();
  page = new FakeDocument();
  vi.stubGlobal('document', page);
});
afterEach(() => {
  vi.useRealTimers();
  vi.unstubAllGlobals();
});

it('says whether the page is seen', async () => {
  const { seen } = await import('../../src/page/seen.js');
  expect(seen.value).toBe(true);
  page.become('hidden');
  expect(seen.value).toBe(false);
  page.become('visible');
  expect(seen.value).toBe(true);
});

it('does nothing while the page is hidden, and what is due at once when it is seen again', async () => {
  const { everyWhileSeen } = await import('../../src/page/seen.js');
  const work = vi.fn();
  const stop = everyWhileSeen(100, work);
  expect(work).not.toHaveBeenCalled();
  vi.advanceTimersByTime(350);
  expect(work).toHaveBeenCalledTimes(3);
  page.become('hidden');
  expect(vi.getTimerCount()).toBe(0);
  vi.advanceTimersByTime(10_000);
  expect(work).toHaveBeenCalledTimes(3);
  page.become('visible');
  expect(work).toHaveBeenCalledTimes(4);
  vi.advanceTimersByTime(100);
  expect(work).toHaveBeenCalledTimes(5);
  stop();
  page.become('hidden');
  page.become('visible');
  expect(vi.getTimerCount()).toBe(0);
  expect(work).toHaveBeenCalledTimes(5);
});

it('is seen where there is no page at all', async () => {
  vi.stubGlobal('document', undefined);
  const { seen } = await import('../../src/page/seen.js');
  expect(seen.value).toBe(true);
});
