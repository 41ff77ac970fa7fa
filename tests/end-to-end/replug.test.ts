import { once } from 'node:events';
import { mkdtempSync, readdirSync, readlinkSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { pino } from 'pino';
import { afterEach, describe, expect, it, vi } from 'vitest';
import type { Clock } from '../../src/clock.js';
import { parseProfile } from '../../src/config/load.js';
import { TautlineError } from '../../src/errors.js';
import { createGlove, type LiveGlove } from '../../src/glove/glove.js';
import { INFERRED, TRACKED } from '../../src/hand/validity.js';
import { keepLink } from '../../src/link/keeper.js';
import type { Link, OpenPort } from '../../src/link/link.js';
import { openLink } from '../../src/link/open-link.js';
import { SIMULATED_CHANNELS } from '../../src/link/simulated-glove.js';
import { simulatedPort } from '../../src/link/simulated-port.js';
import { createTakenPorts } from '../../src/link/taken-ports.js';
import { type HostGlove, startHostGlove } from '../firmware/host-glove.js';
import { FakeClock } from '../link/fake-clock.js';
import { uniform } from '../link/time-sync-paths.js';

const HANDS = ['left', 'right'] as const;
const RATE_HZ = 100;
const CHANNELS = ['index.curl', 'thumb.curl', 'index.splay', 'thumb.splay'];

const profile = parseProfile(
  JSON.stringify({
    profile: 1,
    gloves: HANDS.map((hand) => ({
      name: hand,
      hand,
      link: { kind: 'simulated' },
      channels: SIMULATED_CHANNELS,
      actuators: [{ role: 'index' }],
    })),
  }),
  'two.yaml',
);
const logger = pino({ level: 'silent' });
const gloves: LiveGlove[] = [];
afterEach(async () => {
  await Promise.all(gloves.splice(0).map((glove) => glove.close()));
});

function startGlove(hand: 'left' | 'right', link: Link, clock?: Clock) {
  const glove = createGlove({ profile, glove: profile.gloves[HANDS.indexOf(hand)], link, logger, clock });
  gloves.push(glove);
  const seen = { frames: 0, silences: 0, described: 0 };
  glove.listen({
    frame: ({ valid }) => {
      if (valid) seen.frames++;
      else seen.silences++;
    },
    described: () => seen.described++,
  });
  glove.start();
  return { glove, seen };
}

/** What a leak would leave behind in this process. */
const openFiles = (): string[] =>
  readdirSync('/proc/self/fd').flatMap((fd) => {
    try {
      return [readlinkSync(`/proc/self/fd/${fd}`)];
    } catch {
      return [];
    }
  });
const terminals = () => openFiles().filter((file) => file.startsWith('/dev/pt')).length;
const timers = () => process.getActiveResourcesInfo().filter((kind) => kind === 'Timeout').length;

describe('one of two gloves is unplugged again and again', () => {
  it('200 times at random: it comes back each time, the other loses nothing, nothing is left behind', async () => {
    const clock = new FakeClock();
    const random = uniform(11);
    let unplug = (): void => {};
    const pluggable =
      (open: OpenPort): OpenPort =>
      async (events) => {
        const port = await open(events);
        unplug = () => {
          void port.close();
          events.ended(new TautlineError('portFailed', 'The port is gone.'));
        };
        return port;
      };
    const portOf = (hand: 'left' | 'right') => simulatedPort({ hand, sampleRateHz: RATE_HZ, seed: 1, clock });
    const steady = startGlove('left', keepLink(portOf('left'), { address: 'left', clock, random }), clock);
    const loose = startGlove(
      'right',
      keepLink(pluggable(portOf('right')), { address: 'right', clock, random }),
      clock,
    );
    await clock.advance(500);
    const startUs = clock.nowUs();
    const startFrames = steady.seen.frames;
    const { pending } = clock;
    const files = openFiles().length;
    const handles = process.getActiveResourcesInfo().length;
    const rejections: unknown[] = [];
    process.on('unhandledRejection', (reason) => rejections.push(reason));

    let slowestMs = 0;
    for (let cycle = 0; cycle < 200; cycle++) {
      // Also while it is still opening, or has not yet said hello.
      await clock.advance(Math.floor(random() * 300));
      unplug();
      const goneUs = clock.nowUs();
      while (loose.glove.linkStatus.state !== 'live') await clock.advance(10);
      if (cycle % 4 === 0) {
        while (!loose.glove.frame.valid) await clock.advance(10);
        slowestMs = Math.max(slowestMs, (clock.nowUs() - goneUs) / 1000);
      }
    }
    while (!loose.glove.frame.valid) await clock.advance(10);
    expect(slowestMs).toBeLessThan(1000);
    expect(steady.glove.readHealth().lost).toBe(0);
    expect(steady.seen.silences).toBe(0);
    const expected = ((clock.nowUs() - startUs) / 1e6) * RATE_HZ;
    expect(Math.abs(steady.seen.frames - startFrames - expected)).toBeLessThan(2);
    expect(clock.pending).toBeLessThanOrEqual(pending);
    expect(openFiles()).toHaveLength(files);
    expect(process.getActiveResourcesInfo().length).toBeLessThanOrEqual(handles + 2);
    expect(rejections).toEqual([]);

    await Promise.all(gloves.splice(0).map((glove) => glove.close()));
    expect(clock.pending).toBe(0);
  });

  /** 200 with TAUTLINE_REPLUGS=200; each is a new process and a new terminal. */
  const cycles = Number(process.env.TAUTLINE_REPLUGS ?? 20);
  it(`${cycles} times over pseudo-terminals, under another number each time`, {
    timeout: 30_000 + cycles * 4000,
  }, async () => {
    const folder = mkdtempSync(join(tmpdir(), 'tautline-replug-'));
    const path = join(folder, 'glove');
    const hosts: HostGlove[] = [];
    const plugIn = async (...args: string[]): Promise<HostGlove> => {
      const host = await startHostGlove(['--rate', '250', ...args]);
      hosts.push(host);
      return host;
    };
    const pullOut = async (host: HostGlove): Promise<void> => {
      const closed = once(host.process, 'close');
      host.process.kill('SIGKILL');
      await closed;
    };
    const until = (check: () => void) => vi.waitFor(check, { timeout: 20_000, interval: 5 });
    try {
      const taken = createTakenPorts();
      const retry = { firstRetryMs: 10, maxRetryMs: 100 };
      const link = (port: string, hand: 'left' | 'right') =>
        openLink({ kind: 'serial', path: port, baud: 115200, silentMs: 1000 }, { hand, taken, retry });
      const left = await plugIn('--hand', 'left');
      let right = await plugIn('--hand', 'right', '--link', path);
      const steady = startGlove('left', link(left.pty, 'left'));
      const loose = startGlove('right', link(path, 'right'));
      const bothValid = () => {
        expect(steady.glove.frame.valid).toBe(true);
        expect(loose.glove.frame.valid).toBe(true);
      };
      await until(bothValid);
      // The first frame may be cut by the opening.
      const { lost } = steady.glove.readHealth();
      const before = { files: openFiles().length, terminals: terminals(), timers: timers() };
      for (let cycle = 0; cycle < cycles; cycle++) {
        await pullOut(right);
        right = await plugIn('--hand', 'right', '--link', path);
        await until(() => expect(loose.glove.frame.valid).toBe(true));
      }
      await until(bothValid);
      expect(steady.glove.readHealth().lost).toBe(lost);
      expect(terminals()).toBe(before.terminals);
      await until(() => {
        expect(openFiles().length).toBeLessThanOrEqual(before.files);
        expect(timers()).toBeLessThanOrEqual(before.timers + 2);
      });

      // Another glove on the same port is not taken for the one before.
      await pullOut(right);
      const described = loose.seen.described;
      right = await plugIn('--hand', 'left', '--channels', CHANNELS.join(), '--link', path);
      await until(() => expect(loose.seen.described).toBe(described + 1));
      await until(() => expect(loose.glove.frame.valid).toBe(true));
      const { hand, channels, actuators } = loose.glove.description;
      expect(hand).toBe('left');
      expect(channels.map(({ role }) => role)).toEqual(CHANNELS);
      expect(actuators).toHaveLength(5);
      expect([...loose.glove.frame.fingerStates]).toEqual([TRACKED, TRACKED, INFERRED, INFERRED, INFERRED]);
    } finally {
      await Promise.all(gloves.splice(0).map((glove) => glove.close()));
      for (const { process: child } of hosts) child.kill('SIGKILL');
      rmSync(folder, { recursive: true, force: true });
    }
  });
});
