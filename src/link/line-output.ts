import { parseTemplate, type TemplateQuantity } from '../config/line-template.js';
import type { ActuatorProfile } from '../config/schema.js';
import { STOP_FREE, STOP_MAX } from '../protocol/link-table.js';
import { paidOutStop } from './wire-stop.js';

/** Writes a line for the actuators; without arguments, the one that frees them. */
export type LineWriter = (
  stops?: ArrayLike<number>,
  efforts?: ArrayLike<number>,
  count?: number,
) => Uint8Array;

/** Text of the longest number. */
const NUMBER_BYTES = 12;
const DECIMALS: Record<TemplateQuantity, number> = { stop: 4, effort: 3, us: 0 };

/**
 * An output line whose fields become numbers. A text glove has no command for "free": a free string is paid out
 * beyond the closed finger, with effort 0.
 * @param wearer slack of the wearer in use, in place of the actuators'; may change from line to line
 * @returns a function that gives a view of its buffer, valid until the next call
 */
export function createLineWriter(
  template: string,
  actuators: readonly ActuatorProfile[],
  wearer: { slack?: number | undefined } = {},
): LineWriter {
  const utf8 = new TextEncoder();
  const text = /[\r\n]$/.test(template) ? template : `${template}\n`;
  const parts = parseTemplate(text).map((part) => {
    if (typeof part === 'string') return utf8.encode(part);
    const index = actuators.findIndex(({ role }) => role === part.role);
    // The profile's rules refuse such a field; it would stand there as it is.
    if (index < 0 || !part.quantity) return utf8.encode(part.field);
    return { index, actuator: actuators[index], quantity: part.quantity };
  });
  const length = parts.reduce(
    (sum, part) => sum + (part instanceof Uint8Array ? part.length : NUMBER_BYTES),
    0,
  );
  const line = new Uint8Array(length);
  let at = 0;

  /** A number >= 0 with so many decimals, without trailing zeros. */
  const put = (value: number, decimals: number): void => {
    let scaled = Math.round(Math.max(0, value) * 10 ** decimals);
    let left = decimals;
    while (left > 0 && scaled % 10 === 0) {
      scaled /= 10;
      left--;
    }
    let digits = 1;
    while (scaled >= 10 ** digits) digits++;
    digits = Math.max(digits, left + 1);
    for (let i = digits; i-- > 0; ) {
      line[at++] = 0x30 + (Math.floor(scaled / 10 ** i) % 10);
      if (i === left && left > 0) line[at++] = 0x2e;
    }
  };

  return (stops, efforts, count = 0) => {
    at = 0;
    for (const part of parts) {
      if (part instanceof Uint8Array) {
        line.set(part, at);
        at += part.length;
        continue;
      }
      const { index, actuator, quantity } = part;
      const holds =
        stops !== undefined && efforts !== undefined && index < count && stops[index] !== STOP_FREE;
      const stop = (holds ? stops[index] : paidOutStop(actuator, wearer.slack)) / STOP_MAX;
      const [from, to] = actuator.servoUs ?? [0, 0];
      const value =
        quantity === 'effort'
          ? holds
            ? efforts[index] / 255
            : 0
          : quantity === 'stop'
            ? stop
            : from + stop * (to - from);
      put(value, DECIMALS[quantity]);
    }
    return line.subarray(0, at);
  };
}
