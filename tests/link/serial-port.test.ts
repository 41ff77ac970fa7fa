import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, describe, expect, it, vi } from 'vitest';
import type { TautlineError } from '../../src/errors.js';
import type { DeviceState, GloveCodec, Hello, Pong } from '../../src/link/codec.js';
import { createFrameCodec } from '../../src/link/frames.js';
import { keepLink } from '../../src/link/keeper.js';
import type { LinkStatus, Port } from '../../src/link/link.js';
import { promisedPort, serialPort } from '../../src/link/serial-port.js';
import { type HostGlove, startHostGlove } from '../firmware/host-glove.js';

const gloves: HostGlove[] = [];
afterEach(async () => {
  await Promise.all(gloves.splice(0).map((glove) => glove.quit()));
});
async function hostGlove(...args: string[]): Promise<HostGlove> {
  const glove = await startHostGlove(args);
  gloves.push(glove);
  return glove;
}

/** A codec that keeps what it hears and lets a test wait for it. */
function listener() {
  const heard = { hellos: [] as Hello[], states: [] as DeviceState[], pongs: [] as Pong[], samples: 0 };
  const codec: GloveCodec = createFrameCodec({
    hello: (hello) => heard.hellos.push(hello),
    samples: () => heard.samples++,
    state: (state) => heard.states.push(state),
    pong: (pong) => heard.pongs.push(pong),
    note: () => {},
  });
  return { heard, codec };
}
const until = (check: () => void) => vi.waitFor(check, { timeout: 5000, interval: 5 });
const BAUD = 115200;

describe('serial port, on a pseudo-terminal', () => {
  it('carries the frames of the firmware both ways, unharmed', async () => {
    const glove = await hostGlove('--rate', '500', '--hand', 'left');
    const { heard, codec } = listener();
    const arrivals: number[] = [];
    const port = await serialPort({ path: glove.pty, baud: BAUD })({
      bytes: (chunk, arrivalUs) => {
        arrivals.push(arrivalUs);
        codec.push(chunk);
      },
      ended: (error) => expect.unreachable(error.line),
    });
    expect(port.address).toBe(glove.pty);
    expect(port.write(codec.askHello())).toBe(true);
    await until(() => expect(heard.hellos.at(-1)).toMatchObject({ hand: 'left', sampleRateHz: 500 }));
    port.write(codec.ping(0xdecade));
    await until(() => expect(heard.pongs.map(({ token }) => token)).toEqual([0xdecade]));
    const stops = new Uint16Array(5).fill(20_000);
    await until(() => {
      // Again each time, as the service does: what a busy machine is late to look at has ended.
      port.write(codec.resist(1000, stops, new Uint8Array(5).fill(255), 5));
      expect(heard.states.at(-1)?.positions).toEqual(Array(5).fill(20_000));
    });
    await until(() => expect(heard.samples).toBeGreaterThan(100));
    // A first frame may be cut by opening in its middle; from then on nothing is.
    expect(codec.counters.badCrc + codec.counters.malformed).toBeLessThanOrEqual(1);
    expect(codec.counters.lost + codec.counters.oversize + codec.counters.unknownType).toBe(0);
    expect(arrivals).toEqual([...arrivals].sort((a, b) => a - b));
    await port.close();
  });

  it('is held for itself, says by whom, and is free after close', async () => {
    const { pty: path } = await hostGlove();
    const nothing = { bytes: () => {}, ended: () => {} };
    const first = await serialPort({ path, baud: BAUD })(nothing);
    const refused = serialPort({ path, baud: BAUD })(nothing);
    await expect(refused).rejects.toMatchObject({ code: 'portBusy' });
    if (process.platform === 'linux') await expect(refused).rejects.toThrow('held by this service itself');
    await first.close();
    expect(first.write(Uint8Array.of(0))).toBe(false);
    const second = await serialPort({ path, baud: BAUD })(nothing);
    await second.close();
    await second.close();
  });

  it('says that a port does not exist, or is none', async () => {
    const nothing = { bytes: () => {}, ended: () => {} };
    await expect(serialPort({ path: '/dev/tty-nowhere', baud: BAUD })(nothing)).rejects.toMatchObject({
      code: 'portMissing',
    });
    await expect(serialPort({ path: '/dev/null', baud: BAUD })(nothing)).rejects.toMatchObject({
      code: 'portFailed',
      message: '/dev/null is not a serial port.',
    });
  });

  it('says that it cannot drive the lines of a port that has none', async () => {
    const { pty: path } = await hostGlove();
    const nothing = { bytes: () => {}, ended: () => {} };
    const asked = serialPort({ path, baud: BAUD, dtr: false })(nothing);
    await expect(asked).rejects.toMatchObject({
      code: 'portFailed',
      message: `${path} cannot set DTR and RTS.`,
    });
    await (await serialPort({ path, baud: BAUD })(nothing)).close();
  });

  it('reports the end once when the glove goes, and takes no more', async () => {
    const glove = await hostGlove();
    const { heard, codec } = listener();
    const ends: TautlineError[] = [];
    const port = await serialPort({ path: glove.pty, baud: BAUD })({
      bytes: codec.push,
      ended: (error) => ends.push(error),
    });
    await until(() => expect(heard.samples).toBeGreaterThan(5));
    await glove.quit();
    await until(() => expect(ends).toHaveLength(1));
    expect(ends[0]).toMatchObject({ code: 'portFailed' });
    expect(ends[0].message).toContain(`${glove.pty} is gone`);
    expect(port.write(codec.release())).toBe(false);
    await port.close();
    expect(ends).toHaveLength(1);
  });

  it('drops what would queue up, so that a command is never late', async () => {
    const { pty: path } = await hostGlove();
    const { codec } = listener();
    // At 1200 baud a resist for five fingers takes 190 ms to leave.
    const port = await serialPort({ path, baud: 1200 })({ bytes: () => {}, ended: () => {} });
    const resist = () => port.write(codec.resist(250, new Uint16Array(5), new Uint8Array(5), 5));
    const taken = Array.from({ length: 50 }, resist).filter(Boolean).length;
    expect(taken).toBeGreaterThanOrEqual(2);
    expect(taken).toBeLessThanOrEqual(4);
    expect(resist()).toBe(false);
    expect(port.write(codec.release(), true)).toBe(true);
    await port.close();
  });

  it('keeps reading, and cuts no frame, when nobody reads what it writes', async () => {
    const glove = await hostGlove('--rate', '500');
    const { heard, codec } = listener();
    const port = await serialPort({ path: glove.pty, baud: 4_000_000 })({
      bytes: codec.push,
      ended: (error) => expect.unreachable(error.line),
    });
    await until(() => expect(heard.samples).toBeGreaterThan(5));
    await glove.command('freeze 300');
    // Far more than the kernel's buffer holds.
    let bytes = 0;
    const endMs = performance.now() + 250;
    while (performance.now() < endMs) {
      if (port.write(codec.resist(250, new Uint16Array(5), new Uint8Array(5), 5))) bytes += 23;
      await new Promise(setImmediate);
    }
    expect(bytes).toBeGreaterThan(1000);
    const before = heard.samples;
    await until(() => {
      port.write(codec.ping(1));
      expect(heard.pongs.length).toBeGreaterThan(0);
    });
    await until(() => expect(heard.samples).toBeGreaterThan(before + 20));
    expect(await glove.ask('stats')).toMatchObject({ badCrc: 0, badCobs: 0, tooShort: 0, tooLong: 0 });
    await port.close();
  });
});

describe('a kept serial link', () => {
  it('comes back when the glove does, under another port', async () => {
    const directory = mkdtempSync(join(tmpdir(), 'glove-'));
    const name = join(directory, 'port');
    try {
      const first = await hostGlove('--link', name);
      const { heard, codec } = listener();
      const statuses: LinkStatus[] = [];
      const link = keepLink(serialPort({ path: name, baud: BAUD }), {
        address: name,
        silentMs: 1000,
        firstRetryMs: 20,
        maxRetryMs: 50,
      });
      link.open({ bytes: codec.push, status: (status) => statuses.push(status) });
      await until(() => expect(heard.samples).toBeGreaterThan(5));
      await first.quit();
      await until(() => expect(statuses.map(({ error }) => error?.code)).toContain('portMissing'));
      const before = heard.samples;
      await hostGlove('--link', name);
      await until(() => expect(heard.samples).toBeGreaterThan(before + 5));
      expect(link.status.state).toBe('live');
      await link.close();
      expect(new Set(statuses.map(({ state }) => state))).toEqual(
        new Set(['opening', 'live', 'lost', 'waiting', 'closed']),
      );
    } finally {
      rmSync(directory, { recursive: true });
    }
  });

  it('is lost when the glove falls silent with the port still there', async () => {
    const glove = await hostGlove();
    const { heard, codec } = listener();
    const statuses: LinkStatus[] = [];
    const link = keepLink(serialPort({ path: glove.pty, baud: BAUD }), {
      address: glove.pty,
      silentMs: 150,
      firstRetryMs: 20,
    });
    link.open({ bytes: codec.push, status: (status) => statuses.push(status) });
    await until(() => expect(heard.samples).toBeGreaterThan(5));
    await glove.command('cut');
    await until(() => expect(statuses.at(-1)?.error?.message).toContain('nothing has come from the glove'));
    await glove.command('restore');
    const before = heard.samples;
    await until(() => expect(heard.samples).toBeGreaterThan(before + 5));
    expect(link.status.state).toBe('live');
    await link.close();
  });
});

describe('a port read through promises', () => {
  /** A binding whose reads and writes end when the test says. */
  function fakeBinding() {
    const reads: { buffer: Buffer; done: (n: number) => void; fail: (e: Error) => void }[] = [];
    const writes: { bytes: Buffer; done: () => void }[] = [];
    let closed = 0;
    const events = { chunks: [] as number[][], ends: [] as TautlineError[] };
    const port: Port = promisedPort(
      {
        read: (buffer: Buffer) =>
          new Promise((resolve, fail) =>
            reads.push({ buffer, fail, done: (bytesRead) => resolve({ buffer, bytesRead }) }),
          ),
        write: (bytes: Buffer) => new Promise<void>((done) => writes.push({ bytes, done })),
        close: async () => {
          closed++;
          for (const { fail } of reads) fail(new Error('Canceled'));
        },
      },
      { path: 'COM7', baud: BAUD },
      { bytes: (chunk) => events.chunks.push([...chunk]), ended: (error) => events.ends.push(error) },
    );
    return { port, reads, writes, events, closed: () => closed };
  }
  const settle = () => new Promise(setImmediate);

  it('passes bytes and reads on, and ends once', async () => {
    const { port, reads, events, closed } = fakeBinding();
    reads[0].buffer.set([1, 2, 3]);
    reads[0].done(3);
    await settle();
    expect(events.chunks).toEqual([[1, 2, 3]]);
    reads[1].fail(new Error('Reading from COM port: Operation aborted'));
    await until(() => expect(closed()).toBe(1));
    expect(events.ends).toHaveLength(1);
    expect(events.ends[0].message).toContain('COM7 is gone');
    await port.close();
    expect(closed()).toBe(1);
  });

  it('copies what it writes, one after another, and drops the third unless it is urgent', async () => {
    const { port, writes } = fakeBinding();
    const bytes = Uint8Array.of(1);
    expect(port.write(bytes)).toBe(true);
    bytes[0] = 2;
    expect(port.write(bytes)).toBe(true);
    expect(port.write(bytes)).toBe(false);
    expect(port.write(Uint8Array.of(9), true)).toBe(true);
    await settle();
    expect(writes.map((write) => [...write.bytes])).toEqual([[1]]);
    writes[0].done();
    await settle();
    expect(writes.map((write) => [...write.bytes])).toEqual([[1], [2]]);
    writes[1].done();
    await settle();
    expect(port.write(bytes)).toBe(true);
    writes[2].done();
    await settle();
    expect(writes.map((write) => [...write.bytes])).toEqual([[1], [2], [9], [2]]);
    writes[3].done();
    await port.close();
  });

  it('does not report its own close as an end', async () => {
    const { port, events, closed } = fakeBinding();
    await port.close();
    await settle();
    expect(closed()).toBe(1);
    expect(events.ends).toEqual([]);
    expect(port.write(Uint8Array.of(1))).toBe(false);
  });
});
