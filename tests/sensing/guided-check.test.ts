import { expect, it } from 'vitest';
import { createClosingProfile } from '../../src/hand/closing.js';
import { compileChannels } from '../../src/sensing/channels.js';
import { createGuidedCheck } from '../../src/sensing/guided-check.js';
import { CURL_ROLES, channel, gaussian, gloveWith } from './glove-signals.js';

/** Leads a wearer through the five fingers; `wire` turns what the fingers do into counts. */
function check(wire: (curls: number[]) => number[], ends = { open: 500, closed: 3500 }) {
  const glove = gloveWith(CURL_ROLES.map((role) => channel(role, ends)));
  const guided = createGuidedCheck(compileChannels(glove, CURL_ROLES, createClosingProfile()));
  const noise = gaussian(3);
  for (let finger = 0; finger < 5; finger++) {
    guided.begin(finger);
    for (let k = 0; k <= 200; k++) {
      const close = 0.5 - 0.5 * Math.cos((2 * Math.PI * k) / 200);
      // Neighbours follow by a quarter, as they do.
      const curls = CURL_ROLES.map((_, f) => {
        const distance = Math.abs(f - finger);
        return distance === 0 ? close : distance === 1 ? 0.25 * close : 0.05 * close;
      });
      guided.sample(wire(curls).map((c) => Math.round(c + 2 * noise())));
    }
  }
  return guided.judge();
}

const straight = (curl: number) => 500 + 3000 * curl;

it('finds nothing wrong with a good glove, wound either way', () => {
  expect(check((c) => c.map(straight)).map((v) => v.kind)).toEqual(new Array(5).fill('healthy'));
  const mirrored = check((c) => c.map((x) => 3500 - 3000 * x), { open: 3500, closed: 500 });
  expect(mirrored.map((v) => v.kind)).toEqual(new Array(5).fill('healthy'));
});

it.each([
  ['reversed', (c: number[]) => c.map((x, f) => (f === 2 ? 3500 - 3000 * x : straight(x))), [2]],
  ['swapped', (c: number[]) => [c[0], c[3], c[2], c[1], c[4]].map(straight), [1, 3]],
  ['dead', (c: number[]) => c.map((x, f) => (f === 4 ? 1234 : straight(x))), [4]],
  ['shortRange', (c: number[]) => c.map((x, f) => (f === 0 ? 500 + 200 * x : straight(x))), [0]],
  ['crossTalk', (c: number[]) => c.map((x, f) => straight(f === 4 ? x + 0.5 * c[1] : x)), [4]],
] as const)('names a %s channel, and only that', (kind, wire, where) => {
  const verdicts = check(wire);
  for (const [f, verdict] of verdicts.entries()) {
    const wrong = (where as readonly number[]).includes(f);
    expect(verdict.kind).toBe(wrong ? kind : 'healthy');
    if (!wrong) continue;
    expect(verdict.evidence).toMatch(/\d+ %/);
    expect(verdict.remedy).not.toBe('');
  }
});
