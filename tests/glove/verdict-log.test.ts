import { pino } from 'pino';
import { describe, expect, it } from 'vitest';
import { createMemoryLink, simulatedProfile } from '../../scripts/bench/memory-glove.js';
import { createGlove } from '../../src/glove/glove.js';
import { createVerdictLog, VERDICT_LOG_US } from '../../src/glove/verdict-log.js';
import { createGloveFrames } from '../../src/link/glove-frames.js';
import type { Channel } from '../../src/sensing/channels.js';
import { type FaultKind, fault, HEALTHY, type Verdict } from '../../src/sensing/health/verdicts.js';
import { random } from '../sensing/glove-signals.js';

interface Line {
  event: string;
  msg: string;
  role: string;
  verdict: string;
  leftOut?: number;
}

function listen() {
  const lines: Line[] = [];
  const logger = pino(
    { level: 'debug' },
    { write: (line: string) => void lines.push(JSON.parse(line) as Line) },
  );
  return { logger, lines };
}

const CHANNELS = [{ role: 'thumb.curl' }, { role: 'index.curl' }] as Channel[];
const bad = (kind: FaultKind, evidence = 'it is') => fault(kind, false, evidence);

describe('what is logged of channels', () => {
  const start = () => {
    const { logger, lines } = listen();
    const log = createVerdictLog(logger, 'mine');
    const take = (seconds: number, ...verdicts: Verdict[]) => log.take(verdicts, CHANNELS, seconds * 1e6);
    const told = () =>
      lines.splice(0).map(({ role, verdict, leftOut }) => [role, verdict, ...(leftOut ? [leftOut] : [])]);
    return { log, take, told };
  };

  it('is a change, of the channel that changed, once', () => {
    const { take, told } = start();
    take(0, bad('railed'), HEALTHY);
    take(1, bad('railed'), bad('noisy'));
    take(2, bad('railed', 'with other words'), bad('noisy'));
    expect(told()).toEqual([
      ['thumb.curl', 'railed'],
      ['index.curl', 'noisy'],
    ]);
  });

  it('is one line in ten seconds a channel, then the newest, with how many were left out', () => {
    const { log, take, told } = start();
    take(0, bad('intermittent'), HEALTHY);
    for (let n = 1; n <= 5; n++) {
      take(n, HEALTHY, HEALTHY);
      take(n + 0.5, bad('intermittent'), HEALTHY);
    }
    take(6, bad('railed'), bad('dead'));
    expect(told()).toEqual([
      ['thumb.curl', 'intermittent'],
      ['index.curl', 'dead'],
    ]);
    log.flush(VERDICT_LOG_US - 1);
    expect(told()).toEqual([]);
    log.flush(VERDICT_LOG_US);
    expect(told()).toEqual([['thumb.curl', 'railed', 5]]);
    log.flush(3 * VERDICT_LOG_US);
    expect(told()).toEqual([]);
  });

  it('is nothing of a fault that is over before its turn, but for the count', () => {
    const { log, take, told } = start();
    take(0, bad('noisy'), HEALTHY);
    take(1, HEALTHY, HEALTHY);
    take(2, bad('noisy'), HEALTHY);
    take(3, HEALTHY, HEALTHY);
    log.flush(20e6);
    expect(told()).toHaveLength(1);
    take(30, bad('dead'), HEALTHY);
    expect(told()).toEqual([['thumb.curl', 'dead', 1]]);
  });
});

it('a glove whose every wire is loose writes a few lines, and tells its listeners when a verdict changes', () => {
  const { logger, lines } = listen();
  const profile = simulatedProfile();
  const [{ channels }] = profile.gloves;
  const link = createMemoryLink();
  let nowUs = 0;
  let beat = (): void => {};
  const clock = {
    nowUs: () => nowUs,
    after: (_ms: number, run: () => void) => {
      beat = run;
      return () => {};
    },
  };
  const glove = createGlove({ profile, glove: profile.gloves[0], logger, clock, link });
  glove.start();
  link.live();
  const nothing = (): void => {};
  const frames = createGloveFrames({
    askHello: nothing,
    resist: nothing,
    release: nothing,
    ping: nothing,
    rate: nothing,
    pulse: nothing,
  });
  const hello = {
    protocol: 1,
    hand: 'right',
    deviceId: '0123456789abcdef',
    firmwareVersion: 1,
    sampleRateHz: 250,
    channels: channels.map(({ role, bits }) => ({ role, bits })),
    actuators: [],
  } as const;
  link.bytes(frames.hello({ ...hello, channels: [...hello.channels], actuators: [] }), nowUs);
  const next = random(1);
  const counts = new Uint16Array(channels.length);
  const SECONDS = 25;
  for (let n = 0; n < SECONDS * 250; n++) {
    nowUs += 4000;
    // Broken for a second, whole for three, at random within them; or so noisy that its name is another one.
    const phase = (n / 250) % 4;
    for (let i = 0; i < counts.length; i++) {
      const broken = phase > 2 + 0.1 * i && phase < 3 && next() < 0.3;
      counts[i] = broken ? 4095 * next() : 1500 + 20 * next() + (phase < 1 ? 400 * next() : 0);
    }
    link.bytes(frames.samples(nowUs >>> 0, 0, counts, counts.length), nowUs);
    if (n % 5 === 0) beat();
  }
  const verdicts = lines.filter(({ event }) => event === 'channel.verdict');
  expect(verdicts.length).toBeGreaterThan(channels.length);
  expect(verdicts.length).toBeLessThanOrEqual(channels.length * (1 + SECONDS / 10));
  expect(verdicts.some(({ leftOut = 0 }) => leftOut > 0)).toBe(true);
});
