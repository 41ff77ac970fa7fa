import { afterEach, expect, it, vi } from 'vitest';
import type { Stream } from '../../src/stream/server.js';
import { App, armAsWearer, serve } from './app.js';
import { FakeGlove } from './fake-glove.js';

let stream: Stream;
afterEach(() => stream.close());

/** Strict reader of the text exposition format 0.0.4, written from memory of its description. */
function read(text: string): Map<string, { type: string; samples: Map<string, number> }> {
  expect(text.endsWith('\n')).toBe(true);
  const families = new Map<string, { type: string; samples: Map<string, number> }>();
  let current = '';
  let helped = '';
  for (const line of text.slice(0, -1).split('\n')) {
    const help = /^# HELP ([a-zA-Z_:][a-zA-Z0-9_:]*) \S.*$/.exec(line);
    const type = /^# TYPE ([a-zA-Z_:][a-zA-Z0-9_:]*) (counter|gauge|histogram|summary|untyped)$/.exec(line);
    const sample =
      /^([a-zA-Z_:][a-zA-Z0-9_:]*)(\{(?:[a-zA-Z_]\w*="(?:[^"\\\n]|\\[\\"n])*",?)*\})? (-?\d+(?:\.\d+)?(?:e[+-]?\d+)?)$/.exec(
        line,
      );
    if (help) helped = help[1];
    else if (type) {
      expect(helped).toBe(type[1]);
      expect(families.has(type[1])).toBe(false);
      current = type[1];
      families.set(current, { type: type[2], samples: new Map() });
    } else {
      expect(sample, line).not.toBeNull();
      const { type: kind } = families.get(current)!;
      expect(kind === 'summary' ? sample![1].replace(/_(sum|count)$/, '') : sample![1]).toBe(current);
      const { samples } = families.get(current)!;
      const key = sample![1].slice(current.length) + (sample![2] ?? '');
      expect(samples.has(key), line).toBe(false);
      samples.set(key, Number(sample![3]));
    }
  }
  return families;
}

it('/metrics is well formed, named by the rules, and tells what is so', async () => {
  const glove = new FakeGlove();
  stream = await serve([glove]);
  const app = await App.connect(stream.port);
  await app.ask({ type: 'ping' });
  await armAsWearer(stream.port);
  const response = await fetch(`http://127.0.0.1:${stream.port}/metrics`);
  expect(response.headers.get('content-type')).toBe('text/plain; version=0.0.4; charset=utf-8');
  const families = read(await response.text());
  for (const [name, { type, samples }] of families) {
    expect(name).toMatch(/^tautline_[a-z_]+$/);
    expect(name.endsWith('_total'), name).toBe(type === 'counter');
    expect(samples.size, name).toBeGreaterThan(0);
    // Names carry base units.
    expect(name).not.toMatch(/_(us|ms|mv|kb|mb|hz)(_|$)/);
  }
  const value = (name: string, labels = '') => families.get(`tautline_${name}`)?.samples.get(labels);
  expect(value('armed', '{hand="right",glove="0"}')).toBe(1);
  expect(value('apps')).toBe(1);
  expect(value('link_live', '{hand="right",glove="0"}')).toBe(1);
  expect(value('dropped_messages_total', '{encoding="json"}')).toBe(0);
  expect(value('link_frames_total', '{hand="right",glove="0"}')).toBe(70);
  expect(value('link_frame_errors_total', '{hand="right",glove="0",fault="bad_crc"}')).toBe(3);
  expect(value('link_round_trip_seconds', '{hand="right",glove="0"}')).toBe(0.0015);
  expect(value('interventions_total', '{hand="right",glove="0",reason="tension"}')).toBe(5);
  expect(value('releases_total', '{hand="right",glove="0"}')).toBe(2);
  expect(value('app_messages_total')).toBe(1);
  expect(value('event_loop_delay_seconds', '_count')).toBeGreaterThanOrEqual(0);
  // A process that stands still for a while says so.
  const untilMs = performance.now() + 120;
  while (performance.now() < untilMs);
  await vi.waitFor(async () => {
    const later = await (await fetch(`http://127.0.0.1:${stream.port}/metrics`)).text();
    const most = /event_loop_delay_seconds\{quantile="1"\} (\S+)/.exec(later)?.[1];
    expect(Number(most)).toBeGreaterThan(0.09);
  });
  // Nothing that an app chooses becomes a label: a flood of names is no flood of series.
  await app.ask({ type: 'subscribe', app: 'A name of my own' });
  const again = await (await fetch(`http://127.0.0.1:${stream.port}/metrics`)).text();
  expect(again).not.toContain('A name of my own');
  expect(value('resident_memory_bytes')).toBeGreaterThan(1e6);
  expect(families.get('tautline_finger_state')!.samples.size).toBe(15);
});
