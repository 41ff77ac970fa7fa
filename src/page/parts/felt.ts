import type { Hold } from '../../client/hold.js';
import { holdsNothing, type LiveHand, recordingOf } from '../live.js';

type Held = Pick<Hold<object>, 'state' | 'error'> | undefined;

export const isPresent = ({ health, info }: LiveHand): boolean =>
  (health?.link.state ?? info.link.state) === 'live';

export const isFelt = (hand: LiveHand, hold: Held): boolean =>
  hand.armed && hold?.state === 'held' && !holdsNothing(hand);

/**
 * Whether the object is felt, and if not, why.
 *
 * @param refusal why the glove could not be armed
 */
export function feltText(
  hand: LiveHand,
  { refusal, hold }: { refusal: string | undefined; hold: Held },
): string {
  const side = hand.info.hand;
  const recording = recordingOf(hand);
  if (recording !== undefined) return `Not felt: this is a replay of ${recording}, and no force is possible.`;
  if (!isPresent(hand)) return `Not felt: the ${side} glove is not connected.`;
  if (!hand.armed) return refusal ?? 'Not felt: disarmed. Hold the button down to arm.';
  if (holdsNothing(hand)) return 'Not felt: every finger stays free. See why below.';
  if (hold?.state === 'held') return `Felt by the ${side} hand. Close it slowly.`;
  // What was refused before the wearer armed is asked for again now.
  return (hold?.error?.code !== 'disarmed' && hold?.error?.message) || 'Asking the service…';
}
