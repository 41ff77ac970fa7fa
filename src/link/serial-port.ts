import { readSync, writeSync } from 'node:fs';
import type { SerialPort } from 'serialport';
import { nowUs } from '../clock.js';
import { TautlineError } from '../errors.js';
import type { OpenPort, Port, PortEvents } from './link.js';
import { explainOpenFailure } from './port-errors.js';

export interface SerialOptions {
  /** Such as /dev/ttyUSB0, COM3 or a pseudo-terminal. */
  path: string;
  /** Bits a second. */
  baud: number;
  /** Drive the line high or low; left as the system opens it when absent (many boards restart on DTR). */
  dtr?: boolean;
  rts?: boolean;
}

type Bound = Awaited<ReturnType<typeof SerialPort.binding.open>>;

/** A millisecond of samples is some 40 bytes: one read takes everything that arrived while the process was busy. */
const READ_BUFFER_BYTES = 4096;
/**
 * Bytes that may still be under way when another frame is added: about two commands (a resist for five fingers is 23
 * bytes), 6 ms at 115200 baud. The kernel would accept 4096, a third of a second at that rate.
 */
const MAX_UNSENT_BYTES = 64;
const BITS_PER_BYTE = 10;
/** How long close() waits for bytes to leave and for the driver to let go. */
const MAX_DRAIN_MS = 100;
const MAX_CLOSE_MS = 2000;

/**
 * A serial port, opened for exclusive use (an advisory lock on Linux and macOS).
 *
 * It goes below serialport's stream, to its binding. On Linux and macOS it also reads and writes the
 * descriptor itself when the binding's poller says so: the binding would send every read through the thread
 * pool, spin forever on a terminal that was hung up, and stop reading while a write waits.
 */
export function serialPort(options: SerialOptions): OpenPort {
  return async (events) => {
    const bound = await openBinding(options);
    try {
      await setLines(bound, options);
    } catch (cause) {
      await bound.close().catch(() => {});
      throw cause;
    }
    return 'poller' in bound ? polledPort(bound, options, events) : promisedPort(bound, options, events);
  };
}

async function openBinding({ path, baud, dtr }: SerialOptions): Promise<Bound> {
  // Loaded here, so that a service without a serial glove needs no native module.
  const { SerialPort } = await import('serialport');
  try {
    return await SerialPort.binding.open({
      path,
      baudRate: baud,
      lock: true,
      // On Windows this also decides whether DTR is raised, without which many USB boards send nothing.
      // Elsewhere it sets whether closing drops DTR: left as found.
      hupcl: process.platform === 'win32' && dtr !== false,
    });
  } catch (cause) {
    throw await explainOpenFailure(path, cause);
  }
}

/** Linux raises both lines on opening; setting them to what they are moves nothing. */
const AS_OPENED = true;

async function setLines(bound: Bound, { path, dtr, rts }: SerialOptions): Promise<void> {
  const asked = dtr !== undefined || rts !== undefined;
  // The low latency flag (a USB adapter then waits 1 ms instead of 16 for more bytes) comes with the lines.
  if (!asked && process.platform !== 'linux') return;
  const lines = { dtr: dtr ?? AS_OPENED, rts: rts ?? AS_OPENED };
  const latency = process.platform === 'linux' ? { lowLatency: true } : {};
  try {
    await bound.set({ ...lines, ...latency });
  } catch (cause) {
    // A pseudo-terminal has no lines, and not every driver has the flag: that need not prevent opening it.
    if (!asked) return;
    throw new TautlineError(
      'portFailed',
      `${path} cannot set DTR and RTS.`,
      'Leave `dtr` and `rts` out of the profile for this port.',
      { cause },
    );
  }
}

/** Reckons from the baud rate what the kernel has not sent yet, which it does not tell. */
function createPace(baud: number) {
  let emptyAtUs = 0;
  const usPerByte = (BITS_PER_BYTE * 1e6) / baud;
  return {
    unsentMs: () => Math.max(0, emptyAtUs - nowUs()) / 1000,
    /** Whether another frame may follow; counts it if so. */
    admits(length: number, urgent: boolean): boolean {
      const now = nowUs();
      if (!urgent && emptyAtUs - now > MAX_UNSENT_BYTES * usPerByte) return false;
      emptyAtUs = Math.max(now, emptyAtUs) + length * usPerByte;
      return true;
    },
  };
}

const unplugged = (path: string, cause?: unknown): TautlineError =>
  new TautlineError(
    'portFailed',
    `${path} is gone: unplugged, or the glove restarted.`,
    'Plug it in again.',
    {
      cause,
    },
  );

const codeOf = (error: unknown): string | undefined => (error as NodeJS.ErrnoException)?.code;
const notNow = (error: unknown): boolean => {
  const code = codeOf(error);
  return code === 'EAGAIN' || code === 'EWOULDBLOCK' || code === 'EINTR';
};

const pause = (ms: number): Promise<void> => new Promise((resolve) => setTimeout(resolve, ms));

type Polled = Extract<Bound, { poller: unknown }>;
const READABLE = 1;

function polledPort(bound: Polled, { path, baud }: SerialOptions, events: PortEvents): Port {
  const fd = bound.fd!;
  const pace = createPace(baud);
  const buffer = Buffer.alloc(READ_BUFFER_BYTES);
  /** One view per length of a read, made when first needed. */
  const views: (Uint8Array | undefined)[] = new Array(READ_BUFFER_BYTES + 1).fill(undefined);
  /** The rest of a frame that the kernel took in part: it goes out before anything else. */
  let rest: Uint8Array | undefined;
  let closing: Promise<void> | undefined;

  const end = (cause?: unknown): void => {
    if (closing) return;
    void close();
    events.ended(unplugged(path, cause));
  };

  const onReadable = (pollError: Error | null): void => {
    if (closing) return;
    if (pollError) {
      end(pollError);
      return;
    }
    let length: number;
    try {
      length = readSync(fd, buffer, 0, READ_BUFFER_BYTES, null);
    } catch (error) {
      if (notNow(error)) bound.poller.poll(READABLE);
      else end(error);
      return;
    }
    const arrivalUs = nowUs();
    if (length === 0) {
      end();
      return;
    }
    let view = views[length];
    if (view === undefined) {
      view = buffer.subarray(0, length);
      views[length] = view;
    }
    events.bytes(view, arrivalUs);
    // Not before: the pose is waited for, the next bytes are not there yet.
    if (!closing) bound.poller.poll(READABLE);
  };

  /** Bytes that the kernel took; -1 when the port failed. */
  const put = (bytes: Uint8Array): number => {
    try {
      return writeSync(fd, bytes);
    } catch (error) {
      if (notNow(error)) return 0;
      // Not from within the writer's call.
      setImmediate(end, error);
      return -1;
    }
  };

  const flushRest = (): boolean => {
    if (!rest) return true;
    const taken = put(rest);
    if (taken < 0) return false;
    rest = taken < rest.length ? rest.subarray(taken) : undefined;
    return rest === undefined;
  };

  const close = (): Promise<void> => {
    closing ??= (async () => {
      if (flushRest()) await pause(Math.min(MAX_DRAIN_MS, pace.unsentMs()));
      bound.poller.off('readable', onReadable);
      await Promise.race([bound.close().catch(() => {}), pause(MAX_CLOSE_MS)]);
    })();
    return closing;
  };

  bound.poller.on('readable', onReadable);
  bound.poller.poll(READABLE);
  return {
    address: path,
    write(bytes, urgent = false) {
      if (closing || !flushRest() || !pace.admits(bytes.length, urgent)) return false;
      const taken = put(bytes);
      if (taken <= 0) return false;
      if (taken < bytes.length) rest = bytes.slice(taken);
      return true;
    },
    close,
  };
}

/** Writes under way at once, of which the driver has begun the first. */
const MAX_WRITES = 2;
const MAX_URGENT_WRITES = 8;

/** Windows: overlapped reads and writes through the binding's promises. */
export function promisedPort(
  bound: Pick<Bound, 'read' | 'write' | 'close'>,
  { path, baud }: SerialOptions,
  events: PortEvents,
): Port {
  const pace = createPace(baud);
  const buffer = Buffer.alloc(READ_BUFFER_BYTES);
  let closing: Promise<void> | undefined;
  let writes = 0;
  let lastWrite: Promise<void> = Promise.resolve();

  const end = (cause: unknown): void => {
    if (closing) return;
    void close();
    events.ended(unplugged(path, cause));
  };

  const readOn = async (): Promise<void> => {
    while (!closing) {
      let length: number;
      try {
        ({ bytesRead: length } = await bound.read(buffer, 0, READ_BUFFER_BYTES));
      } catch (error) {
        end(error);
        return;
      }
      if (!closing && length > 0) events.bytes(buffer.subarray(0, length), nowUs());
    }
  };

  const close = (): Promise<void> => {
    closing ??= (async () => {
      await Promise.race([lastWrite.then(() => pause(pace.unsentMs())), pause(MAX_DRAIN_MS)]);
      await Promise.race([bound.close().catch(() => {}), pause(MAX_CLOSE_MS)]);
    })();
    return closing;
  };

  void readOn();
  return {
    address: path,
    write(bytes, urgent = false) {
      if (closing || writes >= (urgent ? MAX_URGENT_WRITES : MAX_WRITES)) return false;
      if (!pace.admits(bytes.length, urgent)) return false;
      const copy = Buffer.from(bytes);
      writes++;
      lastWrite = lastWrite
        .then(() => bound.write(copy))
        .catch(end)
        .finally(() => {
          writes--;
        });
      return true;
    },
    close,
  };
}
