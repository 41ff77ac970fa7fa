import { expect, it, vi } from 'vitest';
import { createSignal } from '../../src/page/signal.js';

it('tells every listener, in their order, until it is removed', () => {
  const signal = createSignal<number>();
  const heard: string[] = [];
  const off = signal.on((value) => heard.push(`a${value}`));
  signal.on((value) => heard.push(`b${value}`));
  signal.emit(1);
  off();
  off();
  signal.emit(2);
  expect(heard).toEqual(['a1', 'b1', 'b2']);
});

it('is heard by the others when one throws, which is reported', () => {
  const reports: (() => void)[] = [];
  vi.stubGlobal('queueMicrotask', (report: () => void) => reports.push(report));
  const signal = createSignal<number>();
  const heard: number[] = [];
  signal.on(() => {
    throw new Error('broken');
  });
  signal.on((value) => heard.push(value));
  signal.emit(1);
  vi.unstubAllGlobals();
  expect(heard).toEqual([1]);
  expect(reports).toHaveLength(1);
  expect(reports[0]).toThrow('broken');
});
