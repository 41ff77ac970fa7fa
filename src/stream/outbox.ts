import type { Duplex } from 'node:stream';
import type { Broadcast, Reader } from './broadcast.js';
import { frameText } from './websocket-frame.js';

export interface OutboxOptions {
  socket: Duplex;
  /** Most bytes of unread answers. */
  maxUnreadBytes: number;
  isOpen(): boolean;
  /** More answers than that are unread. */
  unread(): void;
}

/** What goes out to one app: answers at once, broadcasts no faster than the app reads. */
export class Outbox implements Reader {
  /** Messages that were replaced by newer ones before this reader could take them. */
  dropped = 0;
  /** The reader is known to be behind, whatever the socket takes. */
  heldBack = false;
  /** A broadcast went out since this was last set to false. */
  hasSent = false;
  readonly #owed: Broadcast[] = [];
  #corked = false;

  constructor(readonly options: OutboxOptions) {}

  get behind(): boolean {
    return this.heldBack || this.options.socket.writableLength > 0;
  }

  /** Sends now if everything sent before has left; otherwise owes the newest message of the broadcast. */
  offer(broadcast: Broadcast): void {
    if (this.behind) {
      if (this.#owed.includes(broadcast)) this.dropped++;
      else this.#owed.push(broadcast);
    } else this.#write(broadcast);
  }

  forget(broadcast: Broadcast): void {
    const at = this.#owed.indexOf(broadcast);
    if (at >= 0) this.#owed.splice(at, 1);
  }

  /** Sends an answer, unless too many lie unread. */
  send(text: string): void {
    const frame = frameText(text);
    if (this.mayAnswer(frame.length)) this.options.socket.write(frame, this.#written);
  }

  mayAnswer(bytes: number): boolean {
    const { socket, maxUnreadBytes, isOpen, unread } = this.options;
    if (!isOpen()) return false;
    if (socket.writableLength + bytes <= maxUnreadBytes) return true;
    unread();
    return false;
  }

  /** From here on, gathers answers to send them in one write. */
  gather(): void {
    if (!this.#corked) this.options.socket.cork();
    this.#corked = true;
  }

  sendGathered(): void {
    this.#corked = false;
    this.options.socket.uncork();
  }

  /** Sends what is owed, as far as the app keeps up. */
  flush(): void {
    while (this.#owed.length > 0 && !this.behind) this.#write(this.#owed.shift()!);
  }

  #write(broadcast: Broadcast): void {
    const { message } = broadcast;
    const { socket, isOpen } = this.options;
    if (!message || !isOpen()) return;
    this.hasSent = true;
    socket.write(message, this.#written);
    if (socket.writableLength > 0) broadcast.lent = true;
  }

  /** One function for every write, so that none is made per message. */
  readonly #written = (): void => {
    if (this.#owed.length > 0) this.flush();
  };
}
