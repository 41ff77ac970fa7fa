import { expect, it, vi } from 'vitest';
import { Events } from '../../src/client/events.js';

it('does not call a listener that another one has just removed, nor one that it has just added', () => {
  const events = new Events<{ tick: number }>();
  const heard: string[] = [];
  events.on('tick', () => {
    heard.push('first');
    off();
    events.on('tick', () => heard.push('added'));
  });
  const off = events.on('tick', () => heard.push('removed'));
  events.emit('tick', 1);
  expect(heard).toEqual(['first']);
  events.emit('tick', 2);
  expect(heard).toEqual(['first', 'first', 'added']);
});

it('hears a function that listens twice twice, until it is removed twice', () => {
  const events = new Events<{ tick: number }>();
  let heard = 0;
  const listener = () => heard++;
  const offs = [events.on('tick', listener), events.on('tick', listener)];
  for (const off of [undefined, ...offs]) {
    off?.();
    off?.();
    events.emit('tick', 0);
  }
  expect(heard).toBe(2 + 1 + 0);
  expect(events.has('tick')).toBe(false);
});

it('is heard by the others when one throws, which is reported', () => {
  const reports: (() => void)[] = [];
  vi.stubGlobal('queueMicrotask', (report: () => void) => reports.push(report));
  const events = new Events<{ tick: number }>();
  const heard: number[] = [];
  events.on('tick', () => {
    throw new Error('broken');
  });
  events.on('tick', (value) => heard.push(value));
  events.emit('tick', 1);
  vi.unstubAllGlobals();
  expect(heard).toEqual([1]);
  expect(reports).toHaveLength(1);
  expect(reports[0]).toThrow('broken');
});
