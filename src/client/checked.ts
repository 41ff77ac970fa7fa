import { HAND_SIDES } from '../hand/joints.js';
import { GESTURES } from '../protocol/constants.js';
import type { ServerMessage } from '../protocol/messages.js';

/*
 * What this library itself reads of messages. The service keeps to its schemas, but whatever listens on a port can send
 * anything, and an app must not end for it.
 */

type Fields = Record<string, unknown>;
const isFields = (value: unknown): value is Fields =>
  typeof value === 'object' && value !== null && !Array.isArray(value);
const isHand = (value: unknown): boolean => (HAND_SIDES as readonly unknown[]).includes(value);
const areFields = (value: unknown): value is Fields[] => Array.isArray(value) && value.every(isFields);

const FITS: Partial<Record<ServerMessage['type'], (message: Fields) => boolean>> = {
  welcome: ({ hands }) => areFields(hands) && hands.every(({ hand }) => isHand(hand)),
  joints: ({ hand, poses, velocities }) =>
    isHand(hand) && areRows(poses) && (velocities === undefined || areRows(velocities)),
  inputs: ({ hand, values }) => isHand(hand) && isFields(values),
  resistance: ({ hand, armed, fingers }) => isHand(hand) && typeof armed === 'boolean' && isFields(fingers),
  gestures: ({ hand, states, touches }) =>
    isHand(hand) &&
    isFields(states) &&
    GESTURES.every((name) => isFields(states[name])) &&
    areFields(touches) &&
    touches.every(({ fingers }) => Array.isArray(fingers)),
  error: ({ code, message }) => typeof code === 'string' && typeof message === 'string',
};
const areRows = (value: unknown): boolean => Array.isArray(value) && value.every(Array.isArray);

/** @returns the message, or undefined if this is none that could be read */
export function messageOf(text: string): ServerMessage | undefined {
  let value: unknown;
  try {
    value = JSON.parse(text);
  } catch {
    return undefined;
  }
  if (!isFields(value) || typeof value.type !== 'string') return undefined;
  const fits = Object.hasOwn(FITS, value.type) ? FITS[value.type as ServerMessage['type']] : undefined;
  return (fits?.(value) ?? true) ? (value as unknown as ServerMessage) : undefined;
}
