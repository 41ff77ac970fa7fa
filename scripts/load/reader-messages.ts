import type { HandSide } from '../../src/hand/joints.js';

export type Encoding = 'json' | 'binary';

/** What the process of the readers is told. Each is answered by `done` or, `report`, by a ReaderReport. */
export type ToReaders =
  | {
      kind: 'open';
      url: string;
      encoding: Encoding;
      count: number;
      /** CLOCK_MONOTONIC when each glove's clock was 0, µs. */
      clockUs: Partial<Record<HandSide, number>>;
    }
  /** One more, which subscribes and then never reads. */
  | { kind: 'stall'; url: string; encoding: Encoding }
  | { kind: 'closeStalled' }
  | { kind: 'close' }
  /** Counts afresh. */
  | { kind: 'reset' }
  | { kind: 'report' };

export interface ReaderReport {
  kind: 'report';
  /** Poses that came. */
  poses: number;
  /** Poses that were dropped for a reader that was slow: gaps of `seq`. */
  dropped: number;
  /** From the glove's sample to the message at the reader, µs. */
  p50Us: number;
  p99Us: number;
  /** Of the readers' own process, µs since the reset, and the time since then. */
  cpuUs: number;
  elapsedUs: number;
}
