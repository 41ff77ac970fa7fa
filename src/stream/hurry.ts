/**
 * Node takes one new connection each time that it looks at everything (libuv since 1.45, measured). Whoever wants to let
 * go may be behind a hundred others that come and go; so while connections keep coming, what can wait does, and the next
 * look is soon. Pure: times are arguments, ms.
 */

/** So long after a connection, another may be waiting. */
const RECENT_MS = 3;
/** Work is put off for no longer: those who hold something must be able to renew it. */
const LONGEST_MS = 20;

export class Hurry {
  #connectedMs = Number.NEGATIVE_INFINITY;

  connected(nowMs: number): void {
    this.#connectedMs = nowMs;
  }

  /** @param workedMs when such work was done last */
  putsOff(workedMs: number, nowMs: number): boolean {
    return nowMs - this.#connectedMs < RECENT_MS && nowMs - workedMs < LONGEST_MS;
  }
}
