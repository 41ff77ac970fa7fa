import { HAND_SIDES } from '../../hand/joints.js';

/** Poses a second at most: what a headset shows, and a little more. */
const MOST_HZ = 120;
const MOST_NAME = 40;
const LONGEST = 2000;

/**
 * What of a page's texts goes to the service: that it wants poses, and its questions for the time. All else is left
 * out, so that a page can put no force on a finger, whatever it sends.
 *
 * @param site host of the page; the service shows it to the wearer
 * @returns the text to send; undefined: nothing
 */
export function permitted(text: string, site: string): string | undefined {
  if (text.length > LONGEST) return undefined;
  let message: Record<string, unknown> | null;
  try {
    message = JSON.parse(text) as Record<string, unknown> | null;
  } catch {
    return undefined;
  }
  if (message === null || typeof message !== 'object') return undefined;
  const id = typeof message.id === 'number' ? { id: message.id } : {};
  if (message.type === 'ping') return JSON.stringify({ type: 'ping', ...id });
  if (message.type !== 'subscribe') return undefined;
  const asked = Array.isArray(message.hands) ? message.hands : HAND_SIDES;
  const hands = HAND_SIDES.filter((side) => asked.includes(side));
  const rate = typeof message.rateHz === 'number' ? message.rateHz : MOST_HZ;
  return JSON.stringify({
    type: 'subscribe',
    ...id,
    app: site.slice(0, MOST_NAME),
    streams: ['joints'],
    // Of both, the service gives those that there are.
    ...(hands.length === 1 ? { hands } : {}),
    rateHz: Math.min(MOST_HZ, Math.max(10, rate)),
    velocities: true,
  });
}
