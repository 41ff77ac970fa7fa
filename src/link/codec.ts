import type { HandSide } from '../hand/joints.js';
import type { ActuatorKind, ActuatorRole, ChannelRole, FaultName } from '../protocol/link-table.js';

/** A glove's description of itself. */
export interface Hello {
  protocol: number;
  hand: HandSide;
  /** 16 hex digits. */
  deviceId: string;
  firmwareVersion: number;
  sampleRateHz: number;
  channels: { role: ChannelRole; bits: number }[];
  actuators: { role: ActuatorRole; kind: ActuatorKind }[];
}

/** One reading of every channel. The object and its array are reused: valid only during the call. */
export interface Samples {
  seq: number;
  /** Device clock, µs, as sent: wraps at 2^32. */
  deviceTimeUs: number;
  /** Bit field; bit n is button n. */
  buttons: number;
  channelCount: number;
  /** MAX_CHANNELS long; the first channelCount are set. */
  channels: Uint16Array;
}

export interface DeviceState {
  /** 0 when unknown. */
  batteryMv: number;
  /** Undefined when unknown. */
  temperatureC?: number;
  faults: FaultName[];
  framesDropped: number;
  watchdogTrips: number;
  /** Per actuator, wire stop 0..65534, 65535 free. */
  positions: number[];
}

export interface Pong {
  token: number;
  deviceTimeUs: number;
}

/** Receives what a codec decodes, in order. */
export interface GloveMessages {
  hello(hello: Hello): void;
  samples(samples: Samples): void;
  state(state: DeviceState): void;
  pong(pong: Pong): void;
  note(text: string): void;
}

/** Every counter of a codec since it was made. */
export interface LinkCounters {
  bytes: number;
  /** Frames (or lines) that were understood. */
  frames: number;
  /** Frames whose CRC is wrong (or lines whose numbers are garbled). */
  badCrc: number;
  /** Frames whose COBS is damaged or that are too short for their type (or lines with missing columns). */
  malformed: number;
  /** Frames longer than permitted, dropped up to the next delimiter. */
  oversize: number;
  /** Frames of a type this version does not know. */
  unknownType: number;
  /** Samples missing by their sequence number (lines carry none). */
  lost: number;
}

/**
 * Bytes to messages and back for one glove. Never throws on input, never grows without bound. Encoders return a view
 * of an internal buffer that is valid until the next call. An empty one means that the glove has no such message;
 * nothing is sent.
 */
export interface GloveCodec {
  readonly counters: LinkCounters;
  /**
   * The glove may not free the fingers by itself when the host falls silent, and does not answer: a release is
   * repeated, and a pulse is refused.
   */
  readonly plain?: boolean;
  /** @param arrivalUs host monotonic time, for gloves that send no time of their own; 0 when left out */
  push(chunk: Uint8Array, arrivalUs?: number): void;
  /**
   * Of a glove without a command for "free": how far a free string is paid out beyond the closed finger, curl, from the next
   * line on. Undefined: as the profile says.
   */
  payOut?(slack: number | undefined): void;
  /** Forgets a partial frame, after a reconnection. */
  reset(): void;
  askHello(): Uint8Array;
  /**
   * @param validForMs the glove frees everything when this has passed
   * @param stops per actuator, wire stop 0..65534 or STOP_FREE
   * @param efforts per actuator, 0..255 of what the actuator can do; the tension cap is already in it
   */
  resist(validForMs: number, stops: Uint16Array, efforts: Uint8Array, count: number): Uint8Array;
  release(): Uint8Array;
  ping(token: number): Uint8Array;
  rate(sampleRateHz: number): Uint8Array;
  pulse(actuator: number, amplitude: number, durationMs: number, frequencyHz: number): Uint8Array;
}
