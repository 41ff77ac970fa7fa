import { describe, expect, it } from 'vitest';
import { TautlineError } from '../../src/errors.js';
import { STOP_FREE } from '../../src/protocol/link-table.js';
import { CHANNELS, gloveOnLink, HELLO, heardBy } from './glove-on-link.js';

const hold = {
  type: 'resist',
  hand: 'right',
  fingers: { index: { stopAt: 0.3, effort: 1 } },
  ttlMs: 1000,
} as const;

describe('what a glove writes', () => {
  it('nothing holds after a lost link until the wearer has armed anew', async () => {
    const { clock, live, written, say, enter } = gloveOnLink();
    live.start();
    const glove = heardBy({});
    let deviceUs = 0;
    const run = async (ms: number): Promise<void> => {
      for (let t = 0; t < ms; t += 4, deviceUs += 4000) {
        say(glove.samples(deviceUs, 0, Uint16Array.of(900, 900 + (t % 3)), 2));
        live.resist('app', hold);
        await clock.advance(4);
      }
    };
    const greet = () =>
      say(glove.hello({ ...HELLO, channels: [...HELLO.channels], actuators: [...HELLO.actuators] }));
    let held = 0;
    const ear = heardBy({
      resist: ({ stops, count }) => {
        if (stops.subarray(0, count).some((stop) => stop !== STOP_FREE)) held++;
      },
    });
    const heldSince = (from: number): number => {
      held = 0;
      for (const { bytes } of written.slice(from)) ear.push(bytes);
      return held;
    };
    greet();
    await run(300);
    live.arm('test', 'wearer');
    await run(300);
    expect(heldSince(0)).toBeGreaterThan(0);

    enter('lost');
    expect(live.readResistance().armed).toBe(false);
    await clock.advance(500);
    // Nor can it be armed while it is not there.
    live.arm('test', 'wearer');
    expect(live).toMatchObject({ armed: false, connected: false });
    const from = written.length;
    enter('live');
    greet();
    await run(500);
    expect(live.frame.valid).toBe(true);
    expect(live.readResistance().armed).toBe(false);
    expect(heldSince(from)).toBe(0);
    expect(live.resist('app', hold)).toMatchObject({ code: 'disarmed' });
    // What could never be felt is said now, not once the wearer has armed.
    const sphere = { kind: 'sphere', radius: 0.03 } as const;
    const touch = { type: 'touch', hand: 'right', shape: sphere } as const;
    expect(live.touch('app', touch)).toMatchObject({ code: 'disarmed' });
    // Without effort it asks for no force, and gets none once the glove is armed.
    expect(live.touch('app', { ...touch, layer: 'shown', effort: 0, ttlMs: 1000 })).toBeUndefined();
    expect(live.touch('app', { ...touch, effort: 0.01 })).toMatchObject({ code: 'disarmed' });
    expect(live.touch('app', { ...touch, orientation: [0, 0, 0, 0] })).toMatchObject({
      path: '/orientation',
    });
    const flat: [number, number, number][] = Array.from({ length: 9 }, (_, i) => [i, i * i, 0]);
    expect(live.touch('app', { ...touch, shape: { kind: 'hull', points: flat } })).toMatchObject({
      code: 'badMessage',
      path: '/shape/points',
    });
    live.arm('test', 'wearer');
    await run(300);
    expect(heldSince(from)).toBeGreaterThan(0);
    await live.close();
  });

  it('a release goes before all else', async () => {
    const { clock, live, written, say } = gloveOnLink();
    live.start();
    const glove = heardBy({});
    say(glove.hello({ ...HELLO, channels: [...HELLO.channels], actuators: [...HELLO.actuators] }));
    let deviceUs = 0;
    const run = async (ms: number): Promise<void> => {
      for (let t = 0; t < ms; t += 4, deviceUs += 4000) {
        say(glove.samples(deviceUs, 0, Uint16Array.of(900, 900 + (t % 3)), 2));
        await clock.advance(4);
      }
    };
    await run(500);
    live.arm('test', 'wearer');
    live.resist('app', hold);
    await run(200);
    const from = written.length;
    live.disarm('test', 'wearer');
    await run(500);
    let releases = 0;
    const ear = heardBy({ release: () => releases++ });
    for (const { bytes, urgent } of written.slice(from)) {
      const before = releases;
      ear.push(bytes);
      if (releases > before) expect(urgent).toBe(true);
    }
    expect(releases).toBeGreaterThan(0);
    await live.close();
  });

  it('lines of text have no check sum: three releases, 50 ms apart, unless something is to be held', async () => {
    const { clock, live, written, warnings, say } = gloveOnLink({
      kind: 'lines',
      columns: ['timeMs', ...CHANNELS],
      output: 'S {index.stop} {index.effort}',
      release: 'FREE',
    });
    live.start();
    let ms = 0;
    const run = async (forMs: number): Promise<void> => {
      for (const end = ms + forMs; ms < end; ms += 10) {
        say(new TextEncoder().encode(`${ms},900,${900 + (ms % 30)}\n`));
        await clock.advance(10);
      }
    };
    const said = () => written.map(({ bytes }) => new TextDecoder().decode(bytes));
    await run(1000);
    // No question was put to it, only that nothing is to be held.
    expect(new Set(said())).toEqual(new Set(['FREE\n']));
    live.arm('test', 'wearer');
    live.resist('app', hold);
    await run(200);
    let from = written.length;
    live.release('app');
    await run(500);
    const releases = written.slice(from).filter(({ bytes }) => bytes[0] === 'F'.charCodeAt(0));
    expect(releases).toHaveLength(3);
    expect(releases.every(({ urgent }) => urgent)).toBe(true);
    expect(releases[1].ms - releases[0].ms).toBeGreaterThanOrEqual(50);
    expect(releases[2].ms - releases[1].ms).toBeGreaterThanOrEqual(50);

    live.resist('app', hold);
    await run(100);
    live.release('app');
    from = written.length;
    live.resist('app', hold);
    await run(300);
    expect(said().slice(from)).not.toContain('FREE\n');

    from = written.length;
    let closed = false;
    const closing = live.close().then(() => {
      closed = true;
    });
    for (let i = 0; i < 30 && !closed; i++) await clock.advance(10);
    await closing;
    expect(said().slice(from)).toEqual(['FREE\n', 'FREE\n', 'FREE\n']);
    expect(warnings).toEqual([]);
  });

  it('what was touched before a glove said it is a different one is forgotten, believed or not', async () => {
    const { clock, live, written, say } = gloveOnLink();
    live.start();
    const glove = heardBy({});
    const greet = (deviceId: string) =>
      say(
        glove.hello({
          ...HELLO,
          deviceId,
          channels: [...HELLO.channels],
          actuators: [...HELLO.actuators],
        }),
      );
    let deviceUs = 0;
    const run = async (ms: number): Promise<void> => {
      for (let t = 0; t < ms; t += 4, deviceUs += 4000) {
        say(glove.samples(deviceUs, 0, Uint16Array.of(900, 900 + (t % 3)), 2));
        await clock.advance(4);
      }
    };
    let held = 0;
    const ear = heardBy({
      resist: ({ stops, count }) => {
        if (stops.subarray(0, count).some((stop) => stop !== STOP_FREE)) held++;
      },
    });
    const heldSince = (from: number): number => {
      held = 0;
      for (const { bytes } of written.slice(from)) ear.push(bytes);
      return held;
    };
    const ball: Parameters<typeof live.touch>[1] = {
      type: 'touch',
      hand: 'right',
      shape: { kind: 'sphere', radius: 0.035 },
      position: [0, -0.065, -0.13],
      ttlMs: 1000,
    };
    const [one, other] = [HELLO.deviceId, 'fedcba9876543210'];
    greet(one);
    await run(300);
    greet(other);
    await run(100);
    live.arm('test', 'wearer');
    let from = written.length;
    live.touch('app', ball);
    await run(60);
    expect(heldSince(from)).toBeGreaterThan(0);

    // Not believed, so soon after the last one: nothing holds, and what is made anew is not the chain.
    greet(one);
    await run(300);
    greet(other);
    live.arm('test', 'wearer');
    from = written.length;
    await run(300);
    expect(live.frame.valid).toBe(true);
    expect(live.readResistance().armed).toBe(true);
    expect(heldSince(from)).toBe(0);
    await live.close();
  });

  it('a glove that keeps changing is believed five times a second, and when it has made up its mind', async () => {
    const { clock, live, say } = gloveOnLink();
    live.start();
    const glove = heardBy({});
    let described = 0;
    live.listen({ described: () => described++ });
    const hello = (n: number) =>
      say(
        glove.hello({
          ...HELLO,
          hand: n % 2 === 0 ? 'left' : 'right',
          deviceId: `0123456789abcde${n % 10}`,
          channels: [...HELLO.channels],
          actuators: [...HELLO.actuators],
        }),
      );
    const sample = (ms: number) => say(glove.samples(ms * 1000, 0, Uint16Array.of(900, 900 + (ms % 3)), 2));
    for (let ms = 0; ms < 2000; ms += 10) {
      hello(ms / 10);
      sample(ms);
      await clock.advance(10);
    }
    expect(described).toBeGreaterThan(5);
    expect(described).toBeLessThanOrEqual(10);
    await clock.advance(300);
    expect(live.frame.valid).toBe(false);
    hello(7);
    for (let ms = 3000; ms < 3500; ms += 10) {
      sample(ms);
      await clock.advance(10);
    }
    expect(live.frame.valid).toBe(true);
    expect(live.description).toMatchObject({ hand: 'right', deviceId: '0123456789abcde7' });
    await live.close();
  });

  it('a link that is tried for ever is complained of once, and anew after the glove was there', async () => {
    const { clock, live, warnings, say, enter } = gloveOnLink();
    live.start();
    const fail = (path: string): void => {
      const error = new TautlineError('portMissing', `${path} does not exist.`);
      for (const state of ['waiting', 'opening', 'waiting'] as const) enter(state, error);
    };
    for (let i = 0; i < 3; i++) fail('/dev/ttyUSB7');
    expect(warnings).toEqual(['/dev/ttyUSB7 does not exist.']);
    fail('/dev/ttyUSB8');
    enter('live');
    fail('/dev/ttyUSB8');
    expect(warnings).toEqual(['/dev/ttyUSB7 does not exist.', '/dev/ttyUSB8 does not exist.']);
    enter('live');
    say(heardBy({}).hello({ ...HELLO, channels: [...HELLO.channels], actuators: [...HELLO.actuators] }));
    await clock.advance(10);
    fail('/dev/ttyUSB8');
    expect(warnings.slice(2)).toEqual(['/dev/ttyUSB8 does not exist.']);
    await live.close();
  });

  it('a glove of the other hand is served as what it is, and the profile is to be corrected', async () => {
    const { live, warnings, say } = gloveOnLink();
    live.start();
    say(
      heardBy({}).hello({
        ...HELLO,
        hand: 'left',
        channels: [...HELLO.channels],
        actuators: [...HELLO.actuators],
      }),
    );
    expect(live.description.hand).toBe('left');
    expect(warnings).toEqual([
      'the profile says right, but this is a left glove and is used as one: correct "hand" in the profile',
    ]);
    await live.close();
  });

  it('a USB adapter that collects bytes is told of once, with the remedy', async () => {
    const { clock, live, warnings, say } = gloveOnLink();
    live.start();
    const glove = heardBy({});
    say(glove.hello({ ...HELLO, channels: [...HELLO.channels], actuators: [...HELLO.actuators] }));
    expect(live.readHealth().clock).toMatchObject({ resets: 0 });
    expect(live.readHealth().clock?.note).toBeUndefined();
    for (let burst = 0; burst < 600; burst++) {
      const bytes = [0, 1, 2, 3].flatMap((i) => [
        ...glove.samples((burst * 4 + i) * 4000, 0, Uint16Array.of(900, 901), 2),
      ]);
      await clock.advance(16);
      say(Uint8Array.from(bytes));
    }
    const { batchMs, note } = live.readHealth().clock!;
    expect(batchMs).toBeCloseTo(16, 0);
    expect(note).toContain('bursts, one every 16 ms');
    expect(warnings.filter((line) => line === note)).toHaveLength(1);
    await live.close();
  });
});
