import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { pino } from 'pino';
import { expect, test } from 'vitest';
import { LOG_EVENTS, type LogEventName, logEvent, logEventsPage } from '../../src/log/events.js';

const sources = readdirSync('src', { recursive: true, encoding: 'utf8' })
  .filter((name) => name.endsWith('.ts') && !name.startsWith('bench') && name !== 'log-events.ts')
  .map((name) => ({ name, text: readFileSync(join('src', name), 'utf8') }));

test('nothing is logged past the table', () => {
  const past = sources.filter(({ text }) => /\blogger\??\.(trace|debug|info|warn|error|fatal)\(/.test(text));
  expect(past.map(({ name }) => name)).toEqual([]);
});

test('every event of the table is logged somewhere, and no other', () => {
  const logged = new Set<string>();
  for (const { text } of sources) {
    for (const [call] of text.matchAll(/logEvent\([^;]*?[{;]/g)) {
      for (const [, name] of call.matchAll(/'([a-zA-Z.]+)'/g)) logged.add(name);
    }
  }
  expect([...logged].sort()).toEqual(Object.keys(LOG_EVENTS).sort());
});

test('a line carries the name, the level and the fields of its event', () => {
  const lines: string[] = [];
  const logger = pino({ level: 'trace', base: undefined }, { write: (line: string) => lines.push(line) });
  logEvent(logger, 'glove.silent', { glove: 'mine' }, 'No samples.');
  for (const name of Object.keys(LOG_EVENTS) as LogEventName[]) logEvent(logger, name, {});
  expect(JSON.parse(lines[0])).toMatchObject({
    event: 'glove.silent',
    level: 40,
    glove: 'mine',
    msg: 'No samples.',
  });
  expect(lines.length).toBe(1 + Object.keys(LOG_EVENTS).length);
  expect(readFileSync('docs/log-events.md', 'utf8')).toBe(logEventsPage());
});
