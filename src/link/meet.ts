import { type Clock, systemClock } from '../clock.js';
import { TautlineError } from '../errors.js';
import type { Hello, Samples } from './codec.js';
import { createFrameCodec } from './frames.js';
import type { OpenPort, Port } from './link.js';
import { createStrayBytes } from './stray-bytes.js';

/** A glove of which nothing is known yet: what it says, whichever way it talks. */
export interface Met {
  /** Bits a second at which it was understood. */
  readonly baud: number;
  /** Of a glove that talks in frames; without it, lines of text come. */
  readonly hello: Hello | undefined;
  listen(to: {
    samples?(samples: Samples, atUs: number): void;
    line?(text: string, atUs: number): void;
  }): void;
  /** Why the port ended by itself. */
  readonly ended: TautlineError | undefined;
  close(): Promise<void>;
}

export interface MeetOptions {
  /** The port at a baud rate. */
  open(baud: number): OpenPort;
  /** Tried in this order. */
  bauds: readonly number[];
  /** For people. */
  where: string;
  clock?: Clock;
}

/** A board that restarts when its port is opened says nothing for a second or two, then prints what it likes. Common practice. */
const FIRST_BYTE_MS = 5000;
/** Text has come for this long, and still no hello. */
const TEXT_MS = 2500;
/** Bytes that nobody can read: another rate is tried. */
const UNREADABLE_MS = 2500;
const LOOK_MS = 50;
const ASK_EVERY_MS = 250;
const LONGEST_LINE = 1100;

/** @throws TautlineError when nothing comes, or nothing that can be read at any rate */
export async function meetGlove({ open, bauds, where, clock = systemClock }: MeetOptions): Promise<Met> {
  for (const baud of bauds) {
    const met = await tryAt(baud);
    if (met) return met;
  }
  throw new TautlineError(
    'notSupported',
    `${where}: bytes come, but they can be read at none of ${bauds.join(', ')} baud.`,
    'Give the rate of its firmware with --baud; or another device is at this port.',
  );

  async function tryAt(baud: number): Promise<Met | undefined> {
    const stray = createStrayBytes();
    let hello: Hello | undefined;
    let ended: TautlineError | undefined;
    let firstByteUs = Number.NaN;
    let atUs = 0;
    let text = '';
    let to: Parameters<Met['listen']>[0] = {};
    const codec = createFrameCodec({
      hello(said) {
        hello = said;
      },
      samples: (samples) => to.samples?.(samples, atUs),
      state: () => {},
      pong: () => {},
      note: () => {},
    });
    const port: Port = await open(baud)({
      bytes(chunk, arrivalUs) {
        atUs = arrivalUs;
        if (Number.isNaN(firstByteUs)) firstByteUs = clock.nowUs();
        codec.push(chunk);
        if (hello) return;
        stray.see(chunk);
        const lines = (text + Buffer.from(chunk).toString('latin1')).split(/[\r\n]+/);
        text = lines.pop()!.slice(-LONGEST_LINE);
        for (const line of lines) if (line.trim() !== '') to.line?.(line, arrivalUs);
      },
      ended(error) {
        ended = error;
      },
    });
    const startUs = clock.nowUs();
    let askedUs = Number.NEGATIVE_INFINITY;
    for (;;) {
      await new Promise<void>((resolve) => void clock.after(LOOK_MS, resolve));
      const nowUs = clock.nowUs();
      if (ended) {
        await port.close();
        throw ended;
      }
      const sinceMs = (nowUs - firstByteUs) / 1000;
      const look = stray.look();
      if (hello || (look?.kind === 'text' && sinceMs > TEXT_MS)) break;
      if (look?.kind !== 'text' && look?.kind !== 'frames' && sinceMs > UNREADABLE_MS) {
        await port.close();
        return undefined;
      }
      const silent = Number.isNaN(firstByteUs) && nowUs - startUs > FIRST_BYTE_MS * 1000;
      if (silent || sinceMs > 2 * FIRST_BYTE_MS) {
        await port.close();
        throw new TautlineError(
          'portFailed',
          silent
            ? `${where}: the port is open, but nothing comes.`
            : `${where}: samples come, but the glove does not say what they are.`,
          silent
            ? 'Check that the glove is on and runs its firmware; or it sends only when asked in a way of its own.'
            : 'It does not hear: check the wire to its RX.',
        );
      }
      if (nowUs - askedUs >= ASK_EVERY_MS * 1000) {
        askedUs = nowUs;
        port.write(codec.askHello());
      }
    }
    return {
      baud,
      hello,
      get ended() {
        return ended;
      },
      listen(handlers) {
        to = handlers;
      },
      close: () => port.close(),
    };
  }
}
