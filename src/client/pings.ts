import type { Connection } from './connection.js';
import type { ServiceClock } from './service-clock.js';

const FIRST_PINGS = 6;
const FIRST_PING_MS = 25;
const PING_MS = 2000;
/** When nothing has come for this long although asked, the socket is dead, however open it looks. */
const SILENT_MS = 6000;

/** Keeps track of the service's clock, and notices a dead connection, however open it looks. */
export class Pings {
  #sent = 0;
  #timer: ReturnType<typeof setTimeout> | undefined;
  #sentMs = 0;

  constructor(
    private readonly connection: Connection,
    private readonly clock: ServiceClock,
  ) {}

  /** A new connection. */
  reset(): void {
    this.clock.reset();
    this.#sent = 0;
  }

  stop(): void {
    clearTimeout(this.#timer);
  }

  /** Begins, unless it has already on this connection. */
  begin(): void {
    if (this.#sent === 0) this.#ping();
  }

  #ping(): void {
    const sentMs = performance.now();
    const { heardMs } = this.connection;
    if (this.#sentMs > heardMs && sentMs - heardMs > SILENT_MS) {
      this.connection.drop('Nothing arrived from the service any more.');
      return;
    }
    this.#sentMs = sentMs;
    this.connection.ask({ type: 'ping' }).then(
      ({ timeUs }) => this.clock.add(sentMs, performance.now(), timeUs),
      () => {},
    );
    this.#sent++;
    this.#timer = setTimeout(() => this.#ping(), this.#sent < FIRST_PINGS ? FIRST_PING_MS : PING_MS);
  }
}
