/**
 * The link protocol's numbers, once. `npm run generate` writes the C++ header of the firmware from this
 * table; a test holds the two together. The layout of each message body is in messages.ts.
 */

export const PROTOCOL_VERSION = 1;
/** Longest payload (type to CRC); COBS adds one byte a 254, so a frame is at most 252 bytes with its 0. */
export const MAX_PAYLOAD = 250;
export const CRC16_POLY = 0x1021;
export const CRC16_INIT = 0xffff;
/** A glove releases everything by itself when nothing valid has come for this long. */
export const WATCHDOG_MS = 250;
/** A glove's timer interrupt lets go when the glove's program has not been round its loop for this long, at most. */
export const LOOP_HUNG_MS = 200;
/** A stop at this wire value means: free. 0..65534 is curl 0..1. */
export const STOP_FREE = 0xffff;
export const STOP_MAX = 0xfffe;
export const TEMPERATURE_UNKNOWN = 0x7fff;
export const MAX_CHANNELS = 32;
export const MAX_ACTUATORS = 8;

export const MESSAGE = {
  hello: 0x01,
  samples: 0x02,
  state: 0x03,
  pong: 0x04,
  note: 0x05,
  askHello: 0x81,
  resist: 0x82,
  release: 0x83,
  ping: 0x84,
  rate: 0x85,
  pulse: 0x86,
} as const;
export type MessageName = keyof typeof MESSAGE;

/**
 * Bluetooth LE: one GATT service of our own (random 128-bit UUIDs), whose two characteristics carry the same
 * byte stream as a serial port; a frame may span several packets. `toHost` notifies, `toGlove` is written
 * without response.
 */
export const BLE = {
  service: '3b41cc1c-c33f-407c-acc3-782d242fdaa0',
  toHost: '4934919e-a97a-41a5-8622-f84a2f55af4e',
  toGlove: '80d03d81-fc01-4923-8a84-93b4aecac3d1',
} as const;
/** Most bytes in a packet before the two ends agreed on more: the least ATT MTU, 23, less its header. */
export const BLE_MIN_PACKET = 20;
/** MTU that a glove asks for: 244 bytes of value then fill one link-layer packet of 251. */
export const BLE_MTU = 247;

/** Wire value of a hand. */
export const HAND_CODE = { left: 0, right: 1 } as const;

/**
 * What a channel senses. High nibble: 1..5 finger (thumb..little), 6 palm, 7 wrist, 8 controls.
 * For a finger, low nibble: 0 whole-finger curl, 1 splay (abduction), 2 MCP (thumb: CMC flexion),
 * 3 PIP (thumb: MCP), 4 DIP (thumb: IP).
 */
export const CHANNEL_ROLE = {
  spare: 0x00,
  'thumb.curl': 0x10,
  'thumb.splay': 0x11,
  'thumb.cmc': 0x12,
  'thumb.mcp': 0x13,
  'thumb.ip': 0x14,
  'index.curl': 0x20,
  'index.splay': 0x21,
  'index.mcp': 0x22,
  'index.pip': 0x23,
  'index.dip': 0x24,
  'middle.curl': 0x30,
  'middle.splay': 0x31,
  'middle.mcp': 0x32,
  'middle.pip': 0x33,
  'middle.dip': 0x34,
  'ring.curl': 0x40,
  'ring.splay': 0x41,
  'ring.mcp': 0x42,
  'ring.pip': 0x43,
  'ring.dip': 0x44,
  'little.curl': 0x50,
  'little.splay': 0x51,
  'little.mcp': 0x52,
  'little.pip': 0x53,
  'little.dip': 0x54,
  'palm.arch': 0x60,
  'wrist.qx': 0x70,
  'wrist.qy': 0x71,
  'wrist.qz': 0x72,
  'wrist.qw': 0x73,
  'stick.x': 0x80,
  'stick.y': 0x81,
  trigger: 0x82,
  squeeze: 0x83,
  thumbRest: 0x84,
} as const;
export type ChannelRole = keyof typeof CHANNEL_ROLE;

/** What an actuator acts on. */
export const ACTUATOR_ROLE = {
  spare: 0x00,
  thumb: 0x01,
  index: 0x02,
  middle: 0x03,
  ring: 0x04,
  little: 0x05,
  palm: 0x06,
} as const;
export type ActuatorRole = keyof typeof ACTUATOR_ROLE;

/** How an actuator acts: a servo that stops a string, a brake or torque drive, a vibration motor. */
export const ACTUATOR_KIND = { stringStop: 0x01, brake: 0x02, vibration: 0x03 } as const;
export type ActuatorKind = keyof typeof ACTUATOR_KIND;

/** Bits of the state message's fault field. */
export const FAULT_BIT = {
  supplyLow: 0,
  overTemperature: 1,
  actuatorFault: 2,
  converterFault: 3,
  watchdogRelease: 4,
} as const;
export type FaultName = keyof typeof FAULT_BIT;
