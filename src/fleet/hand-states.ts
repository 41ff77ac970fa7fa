import type { HandSide } from '../hand/joints.js';
import type { SessionWriter } from '../recording/session-writer.js';
import type { SegmentChannel } from './segment.js';
import { type SessionStart, STATE_CHANNELS, type StateChannel } from './session-start.js';

/** The newest of what must be known of each hand in order to understand what follows. */
export interface HandStates {
  take(hand: HandSide, channel: SegmentChannel, text: Uint8Array): void;
  /** Writes it, as a recorder does that begins at this time. */
  write(to: SessionWriter, hand: HandSide, timeUs: number): void;
}

/** Larger ones are not kept. */
const MAX_TEXT = 64 * 1024;
const isState = (channel: string): channel is StateChannel =>
  (STATE_CHANNELS as readonly string[]).includes(channel);

export function createHandStates({ hands, states }: SessionStart): HandStates {
  const newest = new Map<HandSide, Map<StateChannel, Uint8Array>>();
  for (const hand of hands) {
    const known = Object.entries(states[hand] ?? {}).filter(([channel]) => isState(channel));
    newest.set(hand, new Map(known.map(([channel, body]) => [channel as StateChannel, textOf(body)])));
  }
  return {
    take(hand, channel, text) {
      if (isState(channel) && text.length <= MAX_TEXT) newest.get(hand)?.set(channel, text.slice());
    },
    write(to, hand, timeUs) {
      const known = newest.get(hand);
      const memory = bodyIn(known?.get('drift'))?.memory;
      for (const channel of STATE_CHANNELS) {
        const body = bodyIn(known?.get(channel));
        if (!body) continue;
        const isLate = channel === 'status' && (body.state === 'live' || body.state === 'silent');
        const late = { state: 'live', joinedLate: true, ...(memory === undefined ? {} : { drift: memory }) };
        to.json(hand, channel, timeUs, { ...body, timeUs, ...(isLate ? late : {}) });
      }
    },
  };
}

const textOf = (body: object): Uint8Array => Buffer.from(JSON.stringify(body));

function bodyIn(text: Uint8Array | undefined): Record<string, unknown> | undefined {
  if (!text) return undefined;
  try {
    const body: unknown = JSON.parse(Buffer.from(text).toString());
    const isObject = typeof body === 'object' && body !== null && !Array.isArray(body);
    return isObject ? (body as Record<string, unknown>) : undefined;
  } catch {
    return undefined;
  }
}
