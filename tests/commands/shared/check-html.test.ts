import { expect, it } from 'vitest';
import { checkHtml } from '../../../src/commands/shared/check-html.js';
import { checkTraceOf } from '../../../src/guide/check-trace.js';
import { createGuidedRun } from '../../../src/guide/guided-run.js';
import { checkMoves } from '../../../src/guide/moves.js';
import { createClosingProfile } from '../../../src/hand/closing.js';
import { compileChannels } from '../../../src/sensing/channels.js';
import { CURL_ROLES, channel, gloveWith } from '../../sensing/glove-signals.js';

const channels = compileChannels(
  gloveWith(CURL_ROLES.map((role) => channel(role))),
  CURL_ROLES.slice(0, 4),
  createClosingProfile(),
);

/** A record of which the index finger jumps once, for a single sample. */
function recorded() {
  const run = createGuidedRun(channels, checkMoves(channels));
  for (let t = 0; t < 3000; t++) {
    const counts = [1000, t === 1234 ? 4095 : 2000, 2000, 3000, 0];
    run.sample(counts, t / 100);
    if (t % 150 === 149) run.next();
  }
  return run.record;
}

const trace = checkTraceOf(recorded(), channels);
const link = {
  ok: true,
  rateHz: 100,
  promisedHz: 100,
  lost: 0,
  badCrc: 0,
  malformed: 0,
  gaps: 0,
  jitterMs: 0.4,
  remedy: '',
};

it('thins a check out without losing a jump of one sample', () => {
  expect(trace.channels.map(({ role }) => role)).toEqual(CURL_ROLES.slice(0, 4));
  const [thumb, index] = trace.channels;
  expect(index.low.length).toBeLessThanOrEqual(360);
  expect(Math.max(...index.high)).toBe(1);
  expect(Math.min(...index.low)).toBeCloseTo(2000 / 4095, 3);
  expect(new Set([...thumb.low, ...thumb.high]).size).toBe(1);
  expect(trace.moves.slice(0, 3).map(({ name }) => name)).toEqual(['rest', 'fist', 'open']);
  expect(trace.moves[1].fromS).toBeCloseTo(1.5, 1);
});

/** Tags that are open at the end, or closed out of turn. */
function unbalanced(xml: string): string[] {
  const open: string[] = [];
  for (const [, end, name, attributes, empty] of xml.matchAll(
    /<(\/?)(\w+)((?:\s[\w-]+="[^"<]*")*)\s*(\/?)>/g,
  )) {
    expect(attributes).not.toMatch(/=\s*[^"]/);
    if (end) {
      if (open.pop() !== name) return [name];
    } else if (!empty) open.push(name);
  }
  return open;
}

it('draws each channel as SVG that is well-formed XML, whatever is in a text', () => {
  const html = checkHtml(
    {
      version: '1',
      node: 'v20',
      platform: 'Linux x64',
      hand: 'left',
      troubles: [],
      check: {
        ok: false,
        channels: channels.map(({ role }) => ({
          role,
          verdict: role === 'index.curl' ? 'intermittent' : 'healthy',
          evidence: '2 jumps <img src=x onerror=alert(1)> & "more"',
          remedy: 'Press the plugs home.',
          used: 0.5,
          noiseCounts: 1,
        })),
        buttons: [
          { name: 'a', verdict: 'stuck', evidence: 'pressed for 100 % of the time', remedy: 'Look.' },
        ],
        link,
      },
    },
    trace,
  );
  expect(html).not.toContain('<img');
  expect(html).toContain('&lt;img src=x onerror=alert(1)&gt; &amp; &quot;more&quot;');
  expect(html).toContain('<li>index.curl: Press the plugs home.</li>');
  expect(html).toContain('<h2 class="ill">button a: stuck</h2>');
  const plots = html.match(/<svg.*<\/svg>/g)!;
  // The little finger is not sent: nothing to draw.
  expect(plots).toHaveLength(4);
  for (const plot of plots) {
    expect(unbalanced(plot)).toEqual([]);
    expect(plot.replace(/<[^<>]*>/g, '')).not.toMatch(/[<>]/);
    const points = /points="([^"]+)"/
      .exec(plot)![1]
      .split(' ')
      .map((point) => point.split(',').map(Number));
    expect(points.length).toBeGreaterThan(500);
    for (const [x, y] of points) {
      expect(x).toBeGreaterThanOrEqual(0);
      expect(x).toBeLessThanOrEqual(720);
      expect(y).toBeGreaterThanOrEqual(14);
      expect(y).toBeLessThanOrEqual(84);
    }
  }
});
