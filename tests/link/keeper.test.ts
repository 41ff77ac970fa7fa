import { describe, expect, it } from 'vitest';
import { TautlineError } from '../../src/errors.js';
import { type KeeperOptions, keepLink } from '../../src/link/keeper.js';
import type { LinkStatus, Port, PortEvents } from '../../src/link/link.js';
import { FakeClock } from './fake-clock.js';

/** A port whose openings succeed or fail as the test says, with a keeper on it. */
function keptPort(options: Partial<KeeperOptions> = {}) {
  const clock = new FakeClock();
  const statuses: LinkStatus[] = [];
  const received: number[] = [];
  const fake = {
    failure: undefined as unknown,
    openings: 0,
    open: 0,
    written: [] as number[],
    events: undefined as PortEvents | undefined,
    openMs: 0,
    closeMs: 0,
  };
  const wait = (ms: number) =>
    ms > 0 ? new Promise<void>((done) => clock.after(ms, done)) : Promise.resolve();
  const link = keepLink(
    async (events): Promise<Port> => {
      fake.openings++;
      await wait(fake.openMs);
      if (fake.failure) throw fake.failure;
      expect(fake.open).toBe(0);
      fake.open++;
      fake.events = events;
      return {
        address: '/dev/fake0',
        write: (bytes) => fake.written.push(...bytes) > 0,
        close: async () => {
          await wait(fake.closeMs);
          fake.open--;
        },
      };
    },
    { address: 'fake port', clock, random: () => 1, ...options },
  );
  const start = async () => {
    link.open({ bytes: (chunk) => received.push(...chunk), status: (status) => statuses.push(status) });
    await clock.advance(0);
  };
  const come = (byte: number) => fake.events!.bytes(Uint8Array.of(byte), clock.nowUs());
  const states = () => statuses.map(({ state }) => state);
  return { clock, fake, link, statuses, states, received, start, come };
}
const missing = new TautlineError('portMissing', '/dev/fake0 does not exist.');
const gone = new TautlineError('portFailed', '/dev/fake0 is gone.');

describe('keeper', () => {
  it('opens, passes bytes both ways, and frees the port on close', async () => {
    const { fake, link, states, received, start, come, clock } = keptPort();
    expect(link.status).toEqual({ state: 'closed', address: 'fake port' });
    expect(link.write(Uint8Array.of(1))).toBe(false);
    await start();
    expect(link.status).toEqual({ state: 'live', address: '/dev/fake0' });
    come(7);
    expect(received).toEqual([7]);
    expect(link.write(Uint8Array.of(9))).toBe(true);
    expect(fake.written).toEqual([9]);
    await link.close();
    expect(fake.open).toBe(0);
    come(8);
    expect(received).toEqual([7]);
    expect(link.write(Uint8Array.of(1))).toBe(false);
    await link.close();
    expect(states()).toEqual(['opening', 'live', 'closed']);
    expect(clock.pending).toBe(0);
  });

  it('tries for ever, with pauses that double up to a cap', async () => {
    const { clock, fake, link, statuses, start } = keptPort({ firstRetryMs: 100, maxRetryMs: 1000 });
    fake.failure = missing;
    await start();
    const pauses = () =>
      statuses.filter(({ state }) => state === 'waiting').map(({ retryInMs }) => retryInMs);
    await clock.advance(60_000);
    expect(pauses().slice(0, 6)).toEqual([100, 200, 400, 800, 1000, 1000]);
    expect(fake.openings).toBeGreaterThan(55);
    expect(link.status.error).toBe(missing);
    fake.failure = undefined;
    await clock.advance(1000);
    expect(link.status).toEqual({ state: 'live', address: '/dev/fake0' });
    await link.close();
  });

  it('draws each pause from the upper half of its length', async () => {
    const { clock, fake, link, statuses, start } = keptPort({ firstRetryMs: 100, random: () => 0 });
    fake.failure = missing;
    await start();
    expect(link.status.retryInMs).toBe(50);
    await clock.advance(30);
    expect(link.status.retryInMs).toBeCloseTo(20);
    await clock.advance(20);
    expect(statuses.at(-1)).toMatchObject({ state: 'waiting', retryInMs: 100 });
    await link.close();
  });

  it('comes back after an unplugging, and begins with short pauses once bytes have come', async () => {
    const { clock, fake, link, states, statuses, start, come } = keptPort({ firstRetryMs: 100 });
    fake.failure = missing;
    await start();
    await clock.advance(1000);
    fake.failure = undefined;
    await clock.advance(1000);
    come(1);
    const from = statuses.length;
    fake.events!.ended(gone);
    expect(fake.open).toBe(1);
    await clock.advance(100);
    come(2);
    expect(states().slice(from)).toEqual(['lost', 'waiting', 'opening', 'live']);
    expect(statuses[from].error).toBe(gone);
    expect(statuses[from + 1]).toMatchObject({ retryInMs: 100, error: gone });
    await link.close();
  });

  it('goes on backing off from a port that opens but never sends', async () => {
    const { clock, link, statuses, start } = keptPort({
      silentMs: 500,
      firstByteMs: 1000,
      firstRetryMs: 100,
    });
    await start();
    await clock.advance(999);
    expect(link.status.state).toBe('live');
    await clock.advance(10_000);
    const waits = statuses.filter(({ state }) => state === 'waiting');
    expect(waits.slice(0, 4).map(({ retryInMs }) => retryInMs)).toEqual([100, 200, 400, 800]);
    expect(waits[0].error!.line).toMatch(/nothing came within 1000 ms.*firmware/);
    await link.close();
  });

  it('loses a link that falls silent, and says that', async () => {
    const { clock, link, states, statuses, start, come } = keptPort({ silentMs: 500 });
    await start();
    for (let i = 0; i < 20; i++) {
      await clock.advance(400);
      come(i);
    }
    expect(states()).toEqual(['opening', 'live']);
    await clock.advance(499);
    expect(link.status.state).toBe('live');
    await clock.advance(1);
    expect(states().slice(2)).toEqual(['lost', 'waiting']);
    expect(statuses[2].error).toMatchObject({ code: 'portFailed' });
    expect(statuses[2].error!.message).toContain('nothing has come from the glove for 500 ms');
    await link.close();
  });

  it('is patient for the first byte only', async () => {
    const { clock, link, states, start, come } = keptPort({ silentMs: 500, firstByteMs: 5000 });
    await start();
    await clock.advance(3000);
    come(1);
    await clock.advance(499);
    expect(states()).toEqual(['opening', 'live']);
    await clock.advance(1);
    expect(states().slice(2)).toEqual(['lost', 'waiting']);
    await link.close();
  });

  it('does not take a process that slept for a silent glove', async () => {
    const clock = new FakeClock();
    let lateMs = 0;
    const { link, states, start, come, fake } = keptPort({
      silentMs: 500,
      clock: { nowUs: () => clock.nowUs(), after: (ms, run) => clock.after(ms + lateMs, run) },
    });
    lateMs = 30_000;
    await start();
    come(1);
    await clock.advance(35_000);
    expect(states()).toEqual(['opening', 'live']);
    lateMs = 0;
    await clock.advance(31_000);
    expect(states().slice(2)).toContain('lost');
    expect(fake.openings).toBeGreaterThan(0);
    await link.close();
  });

  it('lets the old port go before it opens anew', async () => {
    const { clock, fake, link, start } = keptPort({ firstRetryMs: 10 });
    fake.closeMs = 500;
    await start();
    fake.events!.ended(gone);
    await clock.advance(400);
    expect(fake.openings).toBe(1);
    await clock.advance(200);
    expect(fake.openings).toBe(2);
    expect(link.status.state).toBe('live');
    const closed = link.close();
    await clock.advance(600);
    await closed;
  });

  it('closes a port that finishes opening after close()', async () => {
    const { clock, fake, link, states, start } = keptPort();
    fake.openMs = 300;
    await start();
    let free = false;
    const closed = link.close().then(() => {
      free = true;
    });
    await clock.advance(200);
    expect(free).toBe(false);
    await clock.advance(200);
    await closed;
    expect(fake.open).toBe(0);
    expect(states()).toEqual(['opening', 'closed']);
  });

  it('closes while waiting, and tries no more', async () => {
    const { clock, fake, link, start } = keptPort();
    fake.failure = missing;
    await start();
    await link.close();
    await clock.advance(60_000);
    expect(fake.openings).toBe(1);
    expect(link.status).toEqual({ state: 'closed', address: 'fake port' });
  });

  it('may be closed from within its own events', async () => {
    for (const when of ['opening', 'live', 'lost', 'waiting'] as const) {
      const { clock, fake, link } = keptPort();
      let closed: Promise<void> | undefined;
      link.open({
        bytes: () => {},
        status: ({ state }) => {
          if (state === when) closed = link.close();
        },
      });
      await clock.advance(0);
      fake.events?.ended(gone);
      await clock.advance(60_000);
      await closed;
      expect(fake.open).toBe(0);
      expect(link.status.state).toBe('closed');
      expect(clock.pending).toBe(0);
    }
  });

  it('is not heard from a port of before', async () => {
    const { clock, fake, link, received, start, come } = keptPort({ firstRetryMs: 10 });
    await start();
    const old = fake.events!;
    old.ended(gone);
    await clock.advance(20);
    old.bytes(Uint8Array.of(66), 0);
    old.ended(gone);
    come(1);
    expect(received).toEqual([1]);
    expect(link.status.state).toBe('live');
    await link.close();
  });

  it('tells any other failure in one line', async () => {
    const { fake, link, start } = keptPort();
    fake.failure = new Error('out of descriptors');
    await start();
    expect(link.status.error).toMatchObject({ code: 'portFailed', message: 'fake port: out of descriptors' });
    await link.close();
  });
});
