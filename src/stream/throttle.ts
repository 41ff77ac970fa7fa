/** Runs `action` on request: at once if the last run was long enough ago, otherwise as soon as it is. */
export class Throttle {
  #lastMs = Number.NEGATIVE_INFINITY;
  #timer: NodeJS.Timeout | undefined;

  /** @param periodMs shortest time between two runs; 0: none */
  constructor(
    readonly periodMs: number,
    readonly action: () => void,
  ) {}

  request(): void {
    if (this.#timer) return;
    const waitMs = this.#lastMs + this.periodMs - performance.now();
    if (waitMs <= 0) this.#run();
    else this.#timer = setTimeout(() => this.#run(), Math.ceil(waitMs));
  }

  stop(): void {
    clearTimeout(this.#timer);
    this.#timer = undefined;
  }

  #run(): void {
    this.stop();
    this.#lastMs = performance.now();
    this.action();
  }
}
