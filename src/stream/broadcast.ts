/** Takes the newest message of a broadcast now, or as soon as the reader has caught up. */
export interface Reader {
  offer(broadcast: Broadcast): void;
  /** Nothing of this broadcast is owed any longer. */
  forget(broadcast: Broadcast): void;
}

/**
 * One subject with several readers, and the newest message about it, encoded once for all of them.
 * A reader that is behind keeps a reference to the broadcast, not to the message: when it catches up it gets whatever
 * is newest by then. So nothing queues, however slow the reader is.
 */
export class Broadcast {
  /** The newest message, a whole WebSocket frame; undefined before the first. */
  message: Buffer | undefined;
  /** A socket still has the bytes of `message`: they must not be overwritten. */
  lent = false;
  readonly readers: Reader[] = [];

  add(reader: Reader): void {
    this.readers.push(reader);
  }

  remove(reader: Reader): void {
    const at = this.readers.indexOf(reader);
    if (at >= 0) this.readers.splice(at, 1);
    reader.forget(this);
  }

  publish(message: Buffer): void {
    this.message = message;
    for (let i = 0; i < this.readers.length; i++) this.readers[i].offer(this);
  }
}
