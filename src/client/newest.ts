/**
 * An endless iteration that gives the newest value: a loop that is slower than the stream skips what it missed, and
 * nothing queues up. Ends when the source ends, or with `break`.
 */
export class Newest<T> implements AsyncIterableIterator<T> {
  #value: T | undefined;
  #waiting: ((result: IteratorResult<T>) => void)[] = [];
  #ended = false;
  readonly #onEnd: () => void;

  constructor(onEnd: () => void) {
    this.#onEnd = onEnd;
  }

  put(value: T): void {
    if (this.#ended) return;
    const waiting = this.#waiting.shift();
    if (waiting) waiting({ done: false, value });
    else this.#value = value;
  }

  end(): void {
    if (this.#ended) return;
    this.#ended = true;
    for (const waiting of this.#waiting.splice(0)) waiting({ done: true, value: undefined });
    this.#onEnd();
  }

  next(): Promise<IteratorResult<T>> {
    const value = this.#value;
    this.#value = undefined;
    if (this.#ended) return Promise.resolve({ done: true, value: undefined });
    if (value !== undefined) return Promise.resolve({ done: false, value });
    return new Promise((resolve) => this.#waiting.push(resolve));
  }

  return(): Promise<IteratorResult<T>> {
    this.end();
    return Promise.resolve({ done: true, value: undefined });
  }

  [Symbol.asyncIterator](): this {
    return this;
  }
}
