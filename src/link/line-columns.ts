import type { ChannelProfile, LineColumn, LinesProfile } from '../config/schema.js';
import type { Mutable } from '../mutable.js';
import { MAX_CHANNELS } from '../protocol/link-table.js';
import type { Samples } from './codec.js';

/** Why a line is not a reading. */
export type LineVerdict = 'clean' | 'empty' | 'columns' | 'garbled';

export interface LineReader {
  /** Channels in the order of the columns. */
  readonly roles: readonly string[];
  readonly hasTime: boolean;
  /** The last clean line; its seq and, without a column for it, its time are the caller's. */
  readonly samples: Samples;
  /** 0 when unknown. */
  readonly batteryMv: number;
  /** Reads bytes[start, end), a line without its end. */
  read(bytes: Uint8Array, start: number, end: number): LineVerdict;
}

const SKIP = -1;
const TIME_US = -2;
const TIME_MS = -3;
const BUTTONS = -4;
const BATTERY = -5;
const CODE: Record<LineColumn, number> = {
  skip: SKIP,
  timeUs: TIME_US,
  timeMs: TIME_MS,
  buttons: BUTTONS,
  batteryMv: BATTERY,
};

const SPACE = 0x20;
const TAB = 0x09;
const isBlank = (byte: number): boolean => byte === SPACE || byte === TAB;

/** Reads columns by position, as the profile names them; there must be exactly as many. */
export function createLineReader(profile: LinesProfile, channels: readonly ChannelProfile[]): LineReader {
  const { radix, columns } = profile;
  const separator = new TextEncoder().encode(profile.separator);
  /** Padded columns may have several blanks in between. */
  const blankSeparated = separator.every(isBlank);
  const roles = columns.filter((column) => !(column in CODE)).slice(0, MAX_CHANNELS);
  const codes = Int8Array.from(columns, (column) => CODE[column as LineColumn] ?? roles.indexOf(column));
  const most = Float64Array.from(codes, (code) => {
    if (code === TIME_US || code === TIME_MS) return Number.MAX_SAFE_INTEGER;
    if (code < 0) return 0xffff;
    const bits = channels.find(({ role }) => role === roles[code])?.bits ?? 16;
    return 2 ** bits - 1;
  });
  const samples: Samples = {
    seq: 0,
    deviceTimeUs: 0,
    buttons: 0,
    channelCount: roles.length,
    channels: new Uint16Array(MAX_CHANNELS),
  };

  const separatorAt = (bytes: Uint8Array, at: number, end: number): boolean => {
    if (at + separator.length > end) return false;
    for (let i = 0; i < separator.length; i++) if (bytes[at + i] !== separator[i]) return false;
    return true;
  };

  const digit = (byte: number): number => {
    if (byte >= 0x30 && byte <= 0x39) return byte - 0x30;
    const letter = byte | 0x20;
    return radix === 16 && letter >= 0x61 && letter <= 0x66 ? letter - 0x61 + 10 : -1;
  };

  /** The number in bytes[at, end), or -1. */
  const number = (bytes: Uint8Array, from: number, to: number): number => {
    let at = from;
    let end = to;
    while (at < end && isBlank(bytes[at])) at++;
    while (end > at && isBlank(bytes[end - 1])) end--;
    if (bytes[at] === 0x2b) at++;
    if (radix === 16 && end - at > 2 && bytes[at] === 0x30 && (bytes[at + 1] | 0x20) === 0x78) at += 2;
    // 16 digits are more than any count, and the value stays exact enough.
    if (at >= end || end - at > 16) return -1;
    let value = 0;
    let weight = 0;
    for (; at < end; at++) {
      if (radix === 10 && bytes[at] === 0x2e && weight === 0 && at + 1 < end) {
        weight = 1;
        continue;
      }
      const next = digit(bytes[at]);
      if (next < 0) return -1;
      if (weight === 0) value = value * radix + next;
      else {
        weight /= 10;
        value += next * weight;
      }
    }
    return value;
  };

  const take = (code: number, value: number): void => {
    if (code >= 0) samples.channels[code] = Math.round(value);
    else if (code === TIME_US) samples.deviceTimeUs = Math.round(value) % 2 ** 32;
    else if (code === TIME_MS) samples.deviceTimeUs = Math.round(value * 1000) % 2 ** 32;
    else if (code === BUTTONS) samples.buttons = Math.round(value);
    else reader.batteryMv = Math.round(value);
  };

  const reader: Mutable<LineReader> = {
    roles,
    hasTime: columns.includes('timeUs') || columns.includes('timeMs'),
    samples,
    batteryMv: 0,
    read(bytes, start, end) {
      let at = start;
      let stop = end;
      while (at < stop && isBlank(bytes[at])) at++;
      while (stop > at && isBlank(bytes[stop - 1])) stop--;
      if (at === stop) return 'empty';
      let garbled = false;
      for (let column = 0; ; column++) {
        if (column === codes.length) return 'columns';
        let next = at;
        while (next < stop && !separatorAt(bytes, next, stop)) next++;
        const code = codes[column];
        if (code !== SKIP && !garbled) {
          const value = number(bytes, at, next);
          garbled = value < 0 || value > most[column];
          if (!garbled) take(code, value);
        }
        if (next >= stop) return column + 1 < codes.length ? 'columns' : garbled ? 'garbled' : 'clean';
        at = next + separator.length;
        while (blankSeparated && isBlank(bytes[at])) at++;
      }
    },
  };
  return reader;
}
