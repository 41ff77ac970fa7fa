import type { ErrorCode } from '../errors.js';

/**
 * Messages between a Bluetooth port and its process. Times are the system's monotonic clock in µs (`process.hrtime`),
 * which all processes of a computer share, unlike `performance.now`.
 */
export const systemUs = (): number => Number(process.hrtime.bigint()) / 1000;

/** Given to the process as its one argument, in JSON. */
export interface BleTarget {
  /** Advertised name; ignored when there is an address. */
  name: string;
  /** Device address; on macOS, the identifier that the system uses instead. */
  address?: string;
  /** How long to look for the glove, s. */
  scanS: number;
}

export interface Trouble {
  code: ErrorCode;
  message: string;
  remedy?: string;
}

export type ToProcess =
  /** Bytes for the glove. Anything not urgent is dropped when its turn comes too late. */
  | { kind: 'write'; bytes: Uint8Array; atUs: number; urgent: boolean }
  | { kind: 'close' }
  /** Look again, after `trouble` with `waiting`. */
  | { kind: 'look' };

export type FromProcess =
  /** The library has found the system's Bluetooth; without it, it crashes. */
  | { kind: 'alive' }
  /** Connected and subscribed. `packet` is the most bytes in one packet, if the stack tells. */
  | { kind: 'open'; name: string; address: string; packet?: number }
  | { kind: 'bytes'; bytes: Uint8Array; atUs: number }
  /** One `write` has finished. */
  | { kind: 'written' }
  /** Opening failed, or the connection ended. `waiting`: the glove was not found, and the process waits to look again. */
  | { kind: 'trouble'; trouble: Trouble; waiting?: boolean };
