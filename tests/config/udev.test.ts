import { readFileSync } from 'node:fs';
import { expect, it } from 'vitest';

/**
 * The grammar of udev(7): a rule is one line of comma-separated `KEY{attribute}OPERATOR"value"`; == and != match,
 * = += := -= assign. Keys from that manual page, from memory.
 */
const PAIR = /^(?<key>[A-Z]+)(?:\{[^}]+\})?(?<operator>==|!=|\+=|-=|:=|=)"(?<value>[^"]*)"$/;
const MATCH = ['ACTION', 'SUBSYSTEM', 'SUBSYSTEMS', 'KERNEL', 'ATTR', 'ATTRS', 'ENV'];
const ASSIGN = ['TAG', 'GROUP', 'MODE', 'ATTR', 'ENV'];

it('the udev rule is one that udev can read, and is read before rights are given by the tag', () => {
  const name = '70-tautline.rules';
  expect(Number.parseInt(name, 10)).toBeLessThan(73);
  const text = readFileSync(new URL(`../../config/udev/${name}`, import.meta.url), 'utf8');
  const rules = text.split('\n').filter((line) => line !== '' && !line.startsWith('#'));
  expect(rules).toHaveLength(3);
  for (const rule of rules) {
    const pairs = rule
      .split(/,\s*/)
      .map((pair) => PAIR.exec(pair)?.groups ?? { key: `bad: ${pair}`, operator: '' });
    for (const { key, operator } of pairs)
      expect(operator === '==' || operator === '!=' ? MATCH : ASSIGN).toContain(key);
    expect(pairs.some(({ operator }) => operator === '==')).toBe(true);
  }
  expect(rules.join('\n')).toContain('TAG+="uaccess"');
  expect(rules.join('\n')).toContain('ATTR{latency_timer}="1"');
});
