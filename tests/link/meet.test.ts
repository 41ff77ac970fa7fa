import { describe, expect, it } from 'vitest';
import { createGloveFrames } from '../../src/link/glove-frames.js';
import type { OpenPort } from '../../src/link/link.js';
import { meetGlove } from '../../src/link/meet.js';
import { HELLO } from '../glove/glove-on-link.js';
import { FakeClock } from './fake-clock.js';

const nothing = () => {};

/** A glove that is understood at one rate only, and what it was asked. */
function gloveAt(baud: number, clock: FakeClock, say: (asked: boolean) => Uint8Array | undefined) {
  const opened: number[] = [];
  let open = 0;
  const openAt = (rate: number): OpenPort => {
    return async (events) => {
      opened.push(rate);
      open++;
      let closed = false;
      let asked = false;
      const ear = createGloveFrames({
        askHello: () => {
          asked = true;
        },
        resist: () => {
          throw new Error('it was moved');
        },
        release: nothing,
        ping: nothing,
        rate: nothing,
        pulse: nothing,
      });
      const tick = (): void => {
        if (closed) return;
        const bytes = say(asked);
        asked = false;
        // Another rate turns every byte into something else.
        if (bytes)
          events.bytes(rate === baud ? bytes : bytes.map((x) => (x * 167 + 13) | 0x80), clock.nowUs());
        clock.after(20, tick);
      };
      clock.after(20, tick);
      return {
        address: 'fake',
        write(bytes) {
          if (rate === baud) ear.push(bytes.slice());
          return true;
        },
        async close() {
          if (!closed) open--;
          closed = true;
        },
      };
    };
  };
  return { openAt, opened, stillOpen: () => open };
}

async function settle<T>(clock: FakeClock, promise: Promise<T>): Promise<T> {
  let done = false;
  const mark = () => {
    done = true;
  };
  promise.then(mark, mark);
  for (let i = 0; i < 4000 && !done; i++) await clock.advance(20);
  return promise;
}

const frames = () =>
  createGloveFrames({
    askHello: nothing,
    resist: nothing,
    release: nothing,
    ping: nothing,
    rate: nothing,
    pulse: nothing,
  });
const text = (line: string) => new TextEncoder().encode(line);

describe('meeting a glove', () => {
  it('tries rates until it answers, and passes its samples on', async () => {
    const clock = new FakeClock();
    const out = frames();
    let samples = 0;
    const { openAt, opened, stillOpen } = gloveAt(57600, clock, (asked) =>
      asked
        ? out.hello({ ...HELLO, channels: [...HELLO.channels], actuators: [...HELLO.actuators] })
        : out.samples(20_000 * samples++, 2, Uint16Array.of(1000, 2000), 2),
    );
    const met = await settle(
      clock,
      meetGlove({ open: openAt, bauds: [115200, 230400, 57600, 9600], where: 'x', clock }),
    );
    expect(met.baud).toBe(57600);
    expect(met.hello?.channels).toHaveLength(2);
    expect(opened).toEqual([115200, 230400, 57600]);
    const seen: number[] = [];
    met.listen({ samples: ({ channels, buttons }) => seen.push(channels[1] + buttons) });
    await clock.advance(200);
    expect(seen.length).toBeGreaterThan(3);
    expect(new Set(seen)).toEqual(new Set([2002]));
    await met.close();
    expect(stillOpen()).toBe(0);
  });

  it('knows a glove that prints lines', async () => {
    const clock = new FakeClock();
    let n = 0;
    const { openAt } = gloveAt(115200, clock, () => text(`${1000 + n++},2000\r\n`));
    const met = await settle(clock, meetGlove({ open: openAt, bauds: [115200], where: 'x', clock }));
    expect(met.hello).toBeUndefined();
    const lines: string[] = [];
    met.listen({ line: (line) => lines.push(line) });
    await clock.advance(100);
    expect(lines.length).toBeGreaterThan(2);
    for (const line of lines) expect(line).toMatch(/^\d{4},2000$/);
    await met.close();
  });

  it.each<[string, (asked: boolean) => Uint8Array | undefined, RegExp]>([
    ['nothing comes', () => undefined, /the port is open, but nothing comes\. Check that the glove is on/],
    [
      'it cannot be read at any rate',
      () => Uint8Array.of(0xf3, 0x91, 0x88, 0xfe),
      /at none of 115200, 9600 baud\. Give the rate/,
    ],
    [
      'it does not hear',
      () => frames().samples(1, 0, Uint16Array.of(7), 1),
      /does not say what they are\. It does not hear/,
    ],
  ])('says so when %s, and leaves the port', async (_what, say, line) => {
    const clock = new FakeClock();
    const { openAt, stillOpen } = gloveAt(115200, clock, say);
    const meeting = meetGlove({ open: openAt, bauds: [115200, 9600], where: 'x', clock });
    const failed = await settle(clock, meeting).catch((error) => error);
    expect(failed.line).toMatch(line);
    expect(stillOpen()).toBe(0);
  });
});
