/**
 * The numbered pings of one connection, one at a time. A pong says that the app has received everything sent before
 * the ping, and that whatever comes after the pong was sent after it. So a ping draws a line through what an app
 * sends.
 * Pure: times are arguments, ms.
 */
export class Pings {
  /** When the newest was sent, or the connection began. */
  sentMs = performance.now();
  /** The newest is not answered yet. */
  unanswered = false;
  #number = 0;
  #line = 0;

  constructor(readonly write: (payload: Buffer) => void) {}

  /** A line was drawn, and what arrives may still have been sent before it. */
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

  /** Draws the line: whatever the app sends before it can know of this moment is before it. */
  drawLine(nowMs: number): void {
    // Drawn this very moment.
    if (this.#line === this.#number && this.unanswered && nowMs - this.sentMs < 1) return;
    // A ping that is already under way was sent too early.
    this.#line = this.#number + 1;
    if (!this.unanswered) this.send(nowMs);
  }
}
