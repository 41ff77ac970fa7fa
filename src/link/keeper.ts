import { type Clock, systemClock } from '../clock.js';
import { TautlineError } from '../errors.js';
import type { Link, LinkEvents, LinkState, LinkStatus, OpenPort, Port, PortEvents } from './link.js';

export interface KeeperOptions {
  /** What the link leads to, for people, before a port has an address of its own. */
  address: string;
  /** The glove behind it is made up. */
  simulated?: true;
  /** A live link that delivers no byte for this long counts as lost; undefined: it may stay silent. */
  silentMs?: number;
  /**
   * Patience for the first byte after opening, when longer than silentMs. Opening a port restarts many
   * boards (DTR), whose boot loader then waits one or two seconds: without patience, a link that gives up
   * sooner would restart the board over and over.
   */
  firstByteMs?: number;
  /** Pause before the first retry; it doubles with each failure... */
  firstRetryMs?: number;
  /** ...up to this. */
  maxRetryMs?: number;
  clock?: Clock;
  /** 0..1, for the jitter of the pauses. */
  random?: () => number;
}

/** A timer that fires this late means that the process slept, not that the glove is silent. */
const STALL_US = 200_000;

/**
 * Keeps a port open as long as the service runs (states in link.ts). Each pause is drawn from the upper half of its
 * length, so that two gloves on one hub do not retry in step. The length is reset once bytes have arrived.
 */
export function keepLink(openPort: OpenPort, options: KeeperOptions): Link {
  const {
    silentMs,
    firstByteMs = 5000,
    firstRetryMs = 250,
    maxRetryMs = 5000,
    clock = systemClock,
    random = Math.random,
  } = options;

  let events: LinkEvents | undefined;
  let state: LinkState = 'closed';
  let address = options.address;
  let error: TautlineError | undefined;
  let retryAtUs = 0;
  let failures = 0;
  let port: Port | undefined;
  /** Which opening is current: events of earlier ports are ignored. */
  let generation = 0;
  let cancelTimer = (): void => {};
  let abandonOpening = (): void => {};
  /** Resolves when nothing holds the port any more. */
  let released: Promise<void> = Promise.resolve();
  let lastByteUs = 0;
  let heard = false;

  const say = (): LinkStatus => {
    const said: LinkStatus = { state, address, ...(options.simulated && { simulated: true }) };
    if (error && state !== 'live') said.error = error;
    if (state === 'waiting') said.retryInMs = Math.max(0, (retryAtUs - clock.nowUs()) / 1000);
    return said;
  };
  /** While live, asked for at every sample. */
  let live: LinkStatus | undefined;
  const status = (): LinkStatus => live ?? say();
  const enter = (next: LinkState): void => {
    state = next;
    live = state === 'live' ? say() : undefined;
    events?.status(status());
  };

  /** Forgets the current port and returns when it is free. */
  const letGo = (): Promise<void> => {
    generation++;
    cancelTimer();
    abandonOpening();
    const old = port;
    port = undefined;
    // A port that cannot even be closed must not end the service: the next opening will show.
    if (old) released = old.close().catch(() => {});
    return released;
  };

  const lose = (reason: unknown): void => {
    error =
      reason instanceof TautlineError
        ? reason
        : new TautlineError('portFailed', `${address}: ${(reason as Error)?.message ?? reason}`, undefined, {
            cause: reason,
          });
    const free = letGo();
    const mine = generation;
    if (state === 'live') enter('lost');
    // The receiver of a status may have closed the link.
    if (mine !== generation) return;
    const pauseMs = Math.min(maxRetryMs, firstRetryMs * 2 ** failures) * (0.5 + 0.5 * random());
    failures++;
    retryAtUs = clock.nowUs() + pauseMs * 1000;
    enter('waiting');
    if (mine !== generation) return;
    cancelTimer = clock.after(pauseMs, () => {
      void free.then(() => {
        if (mine === generation) start();
      });
    });
  };

  const watchSilence = (waitMs: number): void => {
    const dueUs = clock.nowUs() + waitMs * 1000;
    cancelTimer = clock.after(waitMs, () => {
      const nowUs = clock.nowUs();
      const limitMs = heard ? silentMs! : Math.max(silentMs!, firstByteMs);
      const silentUs = nowUs - lastByteUs;
      if (nowUs - dueUs > STALL_US) watchSilence(silentMs!);
      else if (silentUs < limitMs * 1000) watchSilence(limitMs - silentUs / 1000);
      else {
        lose(
          new TautlineError(
            'portFailed',
            heard
              ? `${address}: nothing has come from the glove for ${limitMs} ms.`
              : `${address}: the port is open, but nothing came within ${limitMs} ms.`,
            heard
              ? 'Check its battery and its cable.'
              : 'Check that the glove is on, runs its firmware, and has the same baud rate.',
          ),
        );
      }
    });
  };

  const start = (): void => {
    const mine = ++generation;
    let endedEarly: TautlineError | undefined;
    enter('opening');
    if (mine !== generation) return;
    const opening = new AbortController();
    abandonOpening = () => opening.abort();
    const portEvents: PortEvents = {
      bytes(chunk, arrivalUs) {
        if (mine !== generation || state !== 'live') return;
        lastByteUs = clock.nowUs();
        if (!heard) {
          heard = true;
          failures = 0;
          if (silentMs !== undefined) {
            cancelTimer();
            watchSilence(silentMs);
          }
        }
        events!.bytes(chunk, arrivalUs);
      },
      ended(reason) {
        if (mine !== generation) return;
        if (state === 'opening') endedEarly = reason;
        else lose(reason);
      },
    };
    released = openPort(portEvents, opening.signal).then(
      async (opened) => {
        if (mine !== generation) {
          await opened.close().catch(() => {});
          return;
        }
        port = opened;
        address = opened.address;
        if (endedEarly) {
          lose(endedEarly);
          return;
        }
        heard = false;
        lastByteUs = clock.nowUs();
        if (silentMs !== undefined) watchSilence(Math.max(silentMs, firstByteMs));
        error = undefined;
        enter('live');
      },
      (reason) => {
        if (mine === generation) lose(reason);
      },
    );
  };

  return new KeptLink(status, {
    open(receiver) {
      if (events) throw new Error('A link is opened once.');
      events = receiver;
      start();
    },
    write(bytes, urgent) {
      return state === 'live' && port !== undefined && port.write(bytes, urgent);
    },
    async close() {
      const free = letGo();
      error = undefined;
      if (state !== 'closed') enter('closed');
      await free;
    },
  });
}

/** A class, so that the accessor is on the prototype: see mutable.ts. */
class KeptLink implements Link {
  readonly open: Link['open'];
  readonly write: Link['write'];
  readonly close: Link['close'];

  constructor(
    readonly say: () => LinkStatus,
    { open, write, close }: Pick<Link, 'open' | 'write' | 'close'>,
  ) {
    this.open = open;
    this.write = write;
    this.close = close;
  }

  get status(): LinkStatus {
    return this.say();
  }
}
