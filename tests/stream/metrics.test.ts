import { afterEach, expect, it } from 'vitest';
import type { Stream } from '../../src/stream/server.js';
import { App, serve } from './app.js';
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
      expect(sample![1]).toBe(current);
      const { samples } = families.get(current)!;
      expect(samples.has(sample![2] ?? '')).toBe(false);
      samples.set(sample![2] ?? '', Number(sample![3]));
    }
  }
  return families;
}

it('/metrics is well formed, named by the rules, and tells what is so', async () => {
  const glove = new FakeGlove();
  stream = await serve([glove]);
  const app = await App.connect(stream.port);
  await app.ask({ type: 'arm' });
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
  expect(value('armed', '{hand="right"}')).toBe(1);
  expect(value('apps')).toBe(1);
  expect(value('link_live', '{hand="right"}')).toBe(1);
  expect(value('dropped_messages_total')).toBe(0);
  expect(value('resident_memory_bytes')).toBeGreaterThan(1e6);
  expect(families.get('tautline_finger_state')!.samples.size).toBe(15);
});
