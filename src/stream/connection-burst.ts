/**
 * Node accepts one new connection per turn of its event loop (libuv since 1.45, measured). A wearer who wants to let go
 * may be queued behind a hundred connections that come and go. So while connections keep coming, work that can wait
 * does, and the next turn comes soon. Pure: times are arguments, ms.
 */

/** For this long after a connection, another may be waiting. */
const RECENT_MS = 3;
/** Work is deferred no longer than this: apps that hold something must be able to renew it. */
const LONGEST_MS = 20;

export class ConnectionBurst {
  #connectedMs = Number.NEGATIVE_INFINITY;

  connected(nowMs: number): void {
    this.#connectedMs = nowMs;
  }

  /** Whether work is to wait. @param workedMs when such work was last done */
  defers(workedMs: number, nowMs: number): boolean {
    return nowMs - this.#connectedMs < RECENT_MS && nowMs - workedMs < LONGEST_MS;
  }
}
