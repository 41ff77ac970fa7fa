import {
  ACTUATOR_KIND,
  ACTUATOR_ROLE,
  type ActuatorKind,
  type ActuatorRole,
  CHANNEL_ROLE,
  type ChannelRole,
  FAULT_BIT,
  type FaultName,
  HAND_CODE,
  MAX_ACTUATORS,
  MAX_CHANNELS,
  PROTOCOL_VERSION,
  TEMPERATURE_UNKNOWN,
} from '../protocol/link-table.js';
import type { DeviceState, Hello, Pong, Samples } from './codec.js';
import { BODY_START, type PacketEncoder } from './packets.js';

/**
 * The layout of every message body, little-endian. Readers take the payload and the end of the body (which
 * starts at BODY_START) and give undefined or -1 when the length is wrong; writers go between `begin` and
 * `end` of a packet encoder.
 *
 *   hello     protocol u8, hand u8, device id 8 bytes, firmware version u16, sample rate Hz u16,
 *             nChannels u8, nActuators u8, nChannels x { role u8, bits u8 }, nActuators x { role u8, kind u8 }
 *   samples   device time us u32, buttons u16, nChannels x u16
 *   state     battery mV u16, temperature 0.1 C i16, faults u16, frames dropped u16, watchdog trips u16,
 *             nActuators x position u16
 *   pong      token u32, device time us u32
 *   note      UTF-8
 *   askHello  protocol u8
 *   resist    valid for ms u16, nActuators x { stop u16, effort u8 }
 *   release   (empty)
 *   ping      token u32
 *   rate      sample rate Hz u16
 *   pulse     actuator u8, amplitude u8, duration ms u16, frequency Hz u16
 */

const HELLO_HEAD = 16;
const DEVICE_ID_LENGTH = 8;
const SAMPLES_HEAD = 6;
const STATE_HEAD = 10;
const RESIST_HEAD = 2;
const RESIST_EACH = 3;
/** Body lengths of the messages that have only one. */
export const FIXED_LENGTH = { pong: 8, askHello: 1, release: 0, ping: 4, rate: 2, pulse: 6 } as const;

const byCode = <T extends string>(table: Record<T, number>): ReadonlyMap<number, T> =>
  new Map((Object.keys(table) as T[]).map((name) => [table[name], name]));
const channelRoles = byCode<ChannelRole>(CHANNEL_ROLE);
const actuatorRoles = byCode<ActuatorRole>(ACTUATOR_ROLE);
const actuatorKinds = byCode<ActuatorKind>(ACTUATOR_KIND);
const faultNames = Object.keys(FAULT_BIT) as FaultName[];

export const u16At = (bytes: Uint8Array, at: number): number => bytes[at] | (bytes[at + 1] << 8);
export const u32At = (bytes: Uint8Array, at: number): number =>
  (u16At(bytes, at) | (u16At(bytes, at + 2) << 16)) >>> 0;

/**
 * A channel with a role or a width that this version does not know becomes a spare, and so does an
 * actuator: the rest of such a glove still works. A later protocol version may append to the body.
 */
export function readHello(payload: Uint8Array, bodyEnd: number): Hello | undefined {
  if (bodyEnd - BODY_START < HELLO_HEAD) return undefined;
  let at = BODY_START;
  const protocol = payload[at];
  const handCode = payload[at + 1];
  at += 2;
  let deviceId = '';
  for (const idEnd = at + DEVICE_ID_LENGTH; at < idEnd; at++)
    deviceId += payload[at].toString(16).padStart(2, '0');
  const firmwareVersion = u16At(payload, at);
  const sampleRateHz = u16At(payload, at + 2);
  const channelCount = payload[at + 4];
  const actuatorCount = payload[at + 5];
  const extra = bodyEnd - (BODY_START + HELLO_HEAD + 2 * (channelCount + actuatorCount));
  if (channelCount > MAX_CHANNELS || actuatorCount > MAX_ACTUATORS || extra < 0) return undefined;
  if (extra > 0 && protocol <= PROTOCOL_VERSION) return undefined;
  if (handCode !== HAND_CODE.left && handCode !== HAND_CODE.right) return undefined;
  at += 6;
  const channels: Hello['channels'] = [];
  for (let i = 0; i < channelCount; i++, at += 2) {
    const bits = payload[at + 1];
    const usable = bits >= 1 && bits <= 16;
    channels.push({
      role: (usable && channelRoles.get(payload[at])) || 'spare',
      bits: usable ? bits : 16,
    });
  }
  const actuators: Hello['actuators'] = [];
  for (let i = 0; i < actuatorCount; i++, at += 2) {
    const kind = actuatorKinds.get(payload[at + 1]);
    actuators.push({
      role: (kind && actuatorRoles.get(payload[at])) ?? 'spare',
      kind: kind ?? 'stringStop',
    });
  }
  const hand = handCode === HAND_CODE.left ? 'left' : 'right';
  return { protocol, hand, deviceId, firmwareVersion, sampleRateHz, channels, actuators };
}

export function writeHello(out: PacketEncoder, hello: Hello): void {
  out.u8(hello.protocol);
  out.u8(HAND_CODE[hello.hand]);
  for (let i = 0; i < DEVICE_ID_LENGTH; i++)
    out.u8(Number.parseInt(hello.deviceId.slice(2 * i, 2 * i + 2), 16));
  out.u16(hello.firmwareVersion);
  out.u16(hello.sampleRateHz);
  out.u8(hello.channels.length);
  out.u8(hello.actuators.length);
  for (const { role, bits } of hello.channels) {
    out.u8(CHANNEL_ROLE[role]);
    out.u8(bits);
  }
  for (const { role, kind } of hello.actuators) {
    out.u8(ACTUATOR_ROLE[role]);
    out.u8(ACTUATOR_KIND[kind]);
  }
}

/** Fills `into`, but for its seq. The hot path: no allocation. */
export function readSamples(payload: Uint8Array, bodyEnd: number, into: Samples): boolean {
  const channelBytes = bodyEnd - BODY_START - SAMPLES_HEAD;
  if (channelBytes < 0 || channelBytes & 1 || channelBytes > 2 * MAX_CHANNELS) return false;
  into.deviceTimeUs = u32At(payload, BODY_START);
  into.buttons = u16At(payload, BODY_START + 4);
  const count = channelBytes >> 1;
  into.channelCount = count;
  const channels = into.channels;
  for (let i = 0, at = BODY_START + SAMPLES_HEAD; i < count; i++, at += 2) channels[i] = u16At(payload, at);
  return true;
}

export function writeSamples(
  out: PacketEncoder,
  deviceTimeUs: number,
  buttons: number,
  channels: Uint16Array,
  channelCount: number,
): void {
  out.u32(deviceTimeUs);
  out.u16(buttons);
  for (let i = 0; i < channelCount; i++) out.u16(channels[i]);
}

export function readState(payload: Uint8Array, bodyEnd: number): DeviceState | undefined {
  const positionBytes = bodyEnd - BODY_START - STATE_HEAD;
  if (positionBytes < 0 || positionBytes & 1 || positionBytes > 2 * MAX_ACTUATORS) return undefined;
  const temperature = u16At(payload, BODY_START + 2);
  const faultBits = u16At(payload, BODY_START + 4);
  const state: DeviceState = {
    batteryMv: u16At(payload, BODY_START),
    faults: faultNames.filter((name) => faultBits & (1 << FAULT_BIT[name])),
    framesDropped: u16At(payload, BODY_START + 6),
    watchdogTrips: u16At(payload, BODY_START + 8),
    positions: [],
  };
  if (temperature !== TEMPERATURE_UNKNOWN) state.temperatureC = ((temperature << 16) >> 16) / 10;
  for (let at = BODY_START + STATE_HEAD; at < bodyEnd; at += 2) state.positions.push(u16At(payload, at));
  return state;
}

export function writeState(out: PacketEncoder, state: DeviceState): void {
  out.u16(state.batteryMv);
  out.u16(state.temperatureC === undefined ? TEMPERATURE_UNKNOWN : Math.round(state.temperatureC * 10));
  let faultBits = 0;
  for (const name of state.faults) faultBits |= 1 << FAULT_BIT[name];
  out.u16(faultBits);
  out.u16(state.framesDropped);
  out.u16(state.watchdogTrips);
  for (const position of state.positions) out.u16(position);
}

export const readPong = (payload: Uint8Array): Pong => ({
  token: u32At(payload, BODY_START),
  deviceTimeUs: u32At(payload, BODY_START + 4),
});

const utf8 = new TextDecoder();
/** Control characters become spaces: notes end up on terminals and in logs. */
export const readNote = (payload: Uint8Array, bodyEnd: number): string =>
  utf8
    .decode(payload.subarray(BODY_START, bodyEnd))
    .replace(/\p{Cc}+/gu, ' ')
    .trim();

/** A resist command as a glove receives it. The object is reused: valid only during the call. */
export interface Resist {
  validForMs: number;
  count: number;
  stops: Uint16Array;
  efforts: Uint8Array;
}

export function readResist(payload: Uint8Array, bodyEnd: number, into: Resist): boolean {
  const eachBytes = bodyEnd - BODY_START - RESIST_HEAD;
  if (eachBytes < 0 || eachBytes % RESIST_EACH !== 0 || eachBytes > RESIST_EACH * MAX_ACTUATORS) return false;
  into.validForMs = u16At(payload, BODY_START);
  into.count = eachBytes / RESIST_EACH;
  for (let i = 0, at = BODY_START + RESIST_HEAD; i < into.count; i++, at += RESIST_EACH) {
    into.stops[i] = u16At(payload, at);
    into.efforts[i] = payload[at + 2];
  }
  return true;
}

export function writeResist(
  out: PacketEncoder,
  validForMs: number,
  stops: Uint16Array,
  efforts: Uint8Array,
  count: number,
): void {
  out.u16(validForMs);
  for (let i = 0; i < count; i++) {
    out.u16(stops[i]);
    out.u8(efforts[i]);
  }
}
