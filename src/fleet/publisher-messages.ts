import type { TautlineError } from '../errors.js';
import type { HandSide } from '../hand/joints.js';
import type { BrokerAddress } from './broker.js';
import type { NtpState } from './ntp.js';
import type { DroppedClass, QueueLimits } from './outgoing-queue.js';
import type { Kind, Station } from './topics.js';

/** What the service and the thread that publishes for it say to each other. */

/** Given to the thread at its start. */
export interface PublisherSetting {
  station: Station;
  broker: BrokerAddress;
  clientId: string;
  limits: QueueLimits;
  /** Status that the broker publishes when the connection breaks. */
  will: Uint8Array;
  /** One moment on both clocks: that of the system (process.hrtime, ns) and that of the service (µs). */
  clock: { systemNs: bigint; serviceUs: number };
  /** Bytes that the thread has taken, modulo 2^32: Int32Array of one. */
  taken: SharedArrayBuffer;
  firstRetryMs?: number;
  maxRetryMs?: number;
}

export type ToPublisher =
  | { type: 'publish'; kind: Kind; hand: HandSide | undefined; bytes: Uint8Array }
  /** The last status; then the thread ends. */
  | { type: 'end'; status: Uint8Array };

export type FromPublisher =
  | { type: 'open' }
  | { type: 'closed'; code: TautlineError['code']; line: string }
  | ({ type: 'counts' } & PublisherCounts);

export interface PublisherCounts {
  connected: boolean;
  /** Messages the broker has, or for poses: that were sent. */
  sent: number;
  sentBytes: number;
  /** Messages that the broker refused: for their topic, or their size. */
  refused: number;
  dropped: Record<DroppedClass, number>;
  waitingBytes: number;
  /** Least round trip to the broker in the last minute; 0: not known. */
  roundTripUs: number;
  ntp: NtpState;
}
