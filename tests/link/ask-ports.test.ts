import { afterEach, describe, expect, it, vi } from 'vitest';
import type { LinkProfile } from '../../src/config/schema.js';
import { TautlineError } from '../../src/errors.js';
import { askPorts } from '../../src/link/ask-ports.js';
import { createFrameCodec } from '../../src/link/frames.js';
import { createGloveFrames } from '../../src/link/glove-frames.js';
import type { Link, LinkStatus, OpenPort, PortEvents } from '../../src/link/link.js';
import type { PortInfo } from '../../src/link/list-ports.js';
import { type LinkDeps, openLink } from '../../src/link/open-link.js';
import { serialPort } from '../../src/link/serial-port.js';
import { createTakenPorts } from '../../src/link/taken-ports.js';
import { type HostGlove, startHostGlove } from '../firmware/host-glove.js';
import { FakeClock } from './fake-clock.js';

/** Ports with something behind each, and a record of what was opened. */
function machine(
  devices: Record<string, { hand?: 'left' | 'right'; bootMs?: number; fails?: TautlineError }>,
) {
  const clock = new FakeClock();
  const opened: string[] = [];
  let open = 0;
  const openPort =
    (path: string): OpenPort =>
    async (events: PortEvents) => {
      opened.push(path);
      const { hand, bootMs = 0, fails } = devices[path];
      if (fails) throw fails;
      open++;
      const upUs = clock.nowUs() + bootMs * 1000;
      const frames = createGloveFrames({
        askHello: () => {
          if (!hand) return;
          const hello = frames.hello({
            protocol: 1,
            hand,
            deviceId: '0123456789abcdef',
            firmwareVersion: 1,
            sampleRateHz: 100,
            channels: [],
            actuators: [],
          });
          clock.after(1, () => events.bytes(hello, clock.nowUs()));
        },
        resist: () => {},
        release: () => {},
        ping: () => {},
        rate: () => {},
        pulse: () => {},
      });
      return {
        address: path,
        write: (bytes) => {
          if (clock.nowUs() >= upUs) frames.push(bytes);
          return true;
        },
        close: async () => {
          open--;
        },
      };
    };
  const find = async (hand: 'left' | 'right', anyHand = false, abandoned?: AbortSignal) => {
    const seeker = askPorts({
      hand,
      anyHand,
      codec: createFrameCodec,
      candidates: async () => Object.keys(devices).map((path) => ({ path })),
      open: openPort,
      clock,
    });
    let done = false;
    const found = seeker({ bytes: () => {}, ended: () => {} }, abandoned).finally(() => {
      done = true;
    });
    found.catch(() => {});
    for (let i = 0; i < 400 && !done; i++) await clock.advance(100);
    expect(done).toBe(true);
    return found;
  };
  return { clock, opened, find, open: () => open };
}
const busy = new TautlineError('portBusy', 'b is held by monitor (process 7).', 'Close it there.');

describe('asking ports', () => {
  it('passes over what is busy, silent or the other hand, and keeps the glove', async () => {
    const { find, opened, open } = machine({
      a: {},
      b: { fails: busy },
      c: { hand: 'right' },
      d: { hand: 'left' },
      e: { hand: 'left' },
    });
    const port = await find('left');
    expect(port.address).toBe('d');
    expect(opened).toEqual(['a', 'b', 'c', 'd']);
    expect(open()).toBe(1);
  });

  it('gives a board that restarts on opening the time to do so, in a second round', async () => {
    const { find, opened } = machine({ a: {}, b: { hand: 'left', bootMs: 2500 } });
    expect((await find('left')).address).toBe('b');
    expect(opened).toEqual(['a', 'b', 'a', 'b']);
  });

  it('takes a glove of either hand when it is the only one', async () => {
    const { find } = machine({ a: { hand: 'right' } });
    expect((await find('left', true)).address).toBe('a');
  });

  it('says of each port why it is not the one', async () => {
    const { find, open } = machine({ a: {}, b: { fails: busy }, c: { hand: 'right' } });
    const failure = (await find('left').catch((error) => error)) as TautlineError;
    expect(failure.code).toBe('portMissing');
    expect(failure.message).toBe(
      'No left glove answers on any port. a: no answer; b: b is held by monitor (process 7); c: a right glove.',
    );
    expect(open()).toBe(0);
    const none = (await machine({})
      .find('left')
      .catch((error) => error)) as TautlineError;
    expect(none.line).toContain('there is no serial port to ask');
  });

  it('stops at once when nobody wants the glove any more', async () => {
    const { find, clock, open } = machine({ a: {}, b: {} });
    const abandon = new AbortController();
    clock.after(700, () => abandon.abort());
    await expect(find('left', false, abandon.signal)).rejects.toThrow('cancelled');
    expect(open()).toBe(0);
    expect(clock.nowUs()).toBeLessThan(1_000_000 + 1_000_000);
  });
});

const links: Link[] = [];
const gloves: HostGlove[] = [];
afterEach(async () => {
  await Promise.all(links.splice(0).map((link) => link.close()));
  await Promise.all(gloves.splice(0).map((glove) => glove.quit()));
});
const hostGlove = async (...args: string[]): Promise<HostGlove> => {
  const glove = await startHostGlove(args);
  gloves.push(glove);
  return glove;
};
const SERIAL: LinkProfile = { kind: 'serial', baud: 115200, silentMs: 1000 };
function open(profile: LinkProfile, deps: LinkDeps): { link: Link; statuses: LinkStatus[] } {
  const statuses: LinkStatus[] = [];
  const link = openLink(profile, { retry: { firstRetryMs: 20, maxRetryMs: 100 }, ...deps });
  links.push(link);
  link.open({ bytes: () => {}, status: (status) => statuses.push(status) });
  return { link, statuses };
}
const until = (check: () => void) => vi.waitFor(check, { timeout: 20_000, interval: 10 });

describe('finding gloves behind pseudo-terminals', () => {
  it('gives each of two hands its own, though both could answer, and finds one again under another number', async () => {
    const right = await hostGlove('--hand', 'right');
    const left = await hostGlove('--hand', 'left');
    const ports: PortInfo[] = [{ path: right.pty }, { path: left.pty }];
    const taken = createTakenPorts();
    const deps = { taken, listPorts: async () => [...ports] };
    const a = open(SERIAL, { hand: 'left', ...deps });
    const b = open(SERIAL, { hand: 'right', ...deps });
    await until(() => expect(a.link.status).toMatchObject({ state: 'live', address: left.pty }));
    await until(() => expect(b.link.status).toMatchObject({ state: 'live', address: right.pty }));
    expect(await taken.ownerOf(left.pty)).toBe('left');

    const before = b.statuses.length;
    // The old terminal stays with this process for as long as it is open: the new one has another number.
    const again = await hostGlove('--hand', 'left');
    ports[1] = { path: again.pty };
    await gloves.splice(gloves.indexOf(left), 1)[0].quit();
    await until(() => expect(a.link.status).toMatchObject({ state: 'live', address: again.pty }));
    expect(b.statuses).toHaveLength(before);
    expect(b.link.status.state).toBe('live');
  });

  it('names who holds the port, also when that is the other glove, and gets it when it is free', async () => {
    const glove = await hostGlove();
    const path = glove.pty;
    const stranger = await serialPort({ path, baud: 115200 })({ bytes: () => {}, ended: () => {} });
    const taken = createTakenPorts();
    const { link } = open({ ...SERIAL, path }, { hand: 'right', taken });
    await until(() => expect(link.status.error?.message).toBe(`${path} is held by this service itself.`));
    await stranger.close();
    await until(() => expect(link.status.state).toBe('live'));
    const other = open({ ...SERIAL, path }, { hand: 'left', taken });
    await until(() =>
      expect(other.link.status.error?.line).toBe(
        `${path} belongs to the right glove of this service. Give each glove a port of its own in the profile.`,
      ),
    );
  });
});
