import type { ErrorCode } from '../errors.js';

/**
 * What a Bluetooth port and its process tell each other. Times are the system's monotonic clock in µs, which all
 * processes of a computer share (`process.hrtime`); each process' own `performance.now` starts elsewhere.
 */
export const systemUs = (): number => Number(process.hrtime.bigint()) / 1000;

/** Given to the process as its one argument, in JSON. */
export interface BleTarget {
  /** Advertised name; ignored when there is an address. */
  name: string;
  /** Device address; on macOS the identifier that the system gives in its place. */
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
  /** Bytes for the glove. What is not urgent is thrown away when it comes to its turn too late. */
  | { kind: 'write'; bytes: Uint8Array; atUs: number; urgent: boolean }
  | { kind: 'close' }
  /** Once more, after `trouble` that said `waiting`. */
  | { kind: 'look' };

export type FromProcess =
  /** The library has found the system's Bluetooth; what it does without it is to crash. */
  | { kind: 'alive' }
  /** Connected and subscribed. `packet` is the most bytes in one packet, if the stack tells. */
  | { kind: 'open'; name: string; address: string; packet?: number }
  | { kind: 'bytes'; bytes: Uint8Array; atUs: number }
  /** One `write` is done with. */
  | { kind: 'written' }
  /** Not opened, or ended by itself. `waiting`: the glove was not found, and the process waits to look again. */
  | { kind: 'trouble'; trouble: Trouble; waiting?: boolean };
