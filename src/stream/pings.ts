/**
 * The pings of one connection, one at a time, numbered: a pong says that the app has everything that was sent before
 * its ping, and that everything before the pong was sent by then. So a ping draws a line through what an app sends.
 * Pure: times are arguments, ms.
 */
export class Pings {
  /** When the newest was sent, or the connection began. */
  sentMs = performance.now();
  /** The newest has no answer yet. */
  unanswered = false;
  #number = 0;
  #line = 0;

  constructor(readonly write: (payload: Buffer) => void) {}

  /** A line was drawn, and what comes may still have been sent before it. */
  get lineIsOpen(): boolean {
    return this.#line > this.#number || (this.#line === this.#number && this.unanswered);
  }

  send(nowMs: number): void {
    this.unanswered = true;
    this.sentMs = nowMs;
    this.#number++;
    const payload = Buffer.alloc(4);
    payload.writeUInt32BE(this.#number >>> 0);
    this.write(payload);
  }

  /** @returns whether the payload of a pong is that of the newest ping (RFC 6455, 5.5.3) */
  answered(payload: Buffer, nowMs: number): boolean {
    if (!this.unanswered || payload.length !== 4 || payload.readUInt32BE() !== this.#number >>> 0)
      return false;
    this.unanswered = false;
    if (this.#line > this.#number) this.send(nowMs);
    return true;
  }

  /** What has been sent until the app can know of this moment is on this side of the line. */
  drawLine(nowMs: number): void {
    // Drawn this very moment.
    if (this.#line === this.#number && this.unanswered && nowMs - this.sentMs < 1) return;
    // A ping that is on its way was sent too early.
    this.#line = this.#number + 1;
    if (!this.unanswered) this.send(nowMs);
  }
}
