import type { Connection } from './connection.js';
import type { ServiceClock } from './service-clock.js';

const FIRST_PINGS = 6;
const FIRST_PING_MS = 25;
const PING_MS = 2000;
/** When nothing has come in answer to so many pings, the socket is dead, however open it looks. */
const UNANSWERED_PINGS = 3;

/** Keeps track of the service's clock, and notices a dead connection, however open it looks. */
export class Pings {
  #sent = 0;
  #timer: ReturnType<typeof setTimeout> | undefined;
  #heard = 0;
  #unanswered = 0;

  constructor(
    private readonly connection: Connection,
    private readonly clock: ServiceClock,
  ) {}

  /** A new connection. */
  reset(): void {
    this.clock.reset();
    this.#sent = 0;
    this.#unanswered = 0;
  }

  stop(): void {
    clearTimeout(this.#timer);
  }

  /** Begins, unless it has already on this connection. */
  begin(): void {
    if (this.#sent === 0) this.#ping();
  }

  #ping(): void {
    const { heard } = this.connection;
    if (heard !== this.#heard) this.#unanswered = 0;
    this.#heard = heard;
    if (this.#unanswered >= UNANSWERED_PINGS) {
      this.connection.drop('Nothing arrived from the service any more.');
      return;
    }
    // The first few come so close that their answers may still be on their way when the next goes out.
    if (this.#sent >= FIRST_PINGS - 1) this.#unanswered++;
    const sentMs = performance.now();
    this.connection.ask({ type: 'ping' }).then(
      ({ timeUs }) => this.clock.add(sentMs, performance.now(), timeUs),
      () => {},
    );
    this.#sent++;
    this.#timer = setTimeout(() => this.#ping(), this.#sent < FIRST_PINGS ? FIRST_PING_MS : PING_MS);
  }
}
