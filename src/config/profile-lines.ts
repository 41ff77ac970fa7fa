import type { ActuatorKind, ActuatorRole, ChannelRole } from '../protocol/link-table.js';

/**
 * Lines of a profile for parts of a glove of which nothing is known but what it says of itself: YAML, as people write it,
 * with the range of the whole converter until a fit knows better.
 */

export interface Counts {
  open: number;
  closed: number;
  centre?: number;
}

/** Part of the converter that is left at each end: strings and sticks seldom reach them. Common practice. */
const MARGIN = 0.12;

/** What a channel reads at its ends, as long as nobody has looked. */
export function guessedCounts(role: ChannelRole, bits: number): Counts {
  const full = 2 ** bits - 1;
  if (role.startsWith('wrist.')) return { open: 0, closed: full };
  if (role.startsWith('stick.')) return { open: 0, closed: full, centre: Math.round(full / 2) };
  const ends = { open: Math.round(MARGIN * full), closed: Math.round((1 - MARGIN) * full) };
  return role.endsWith('.splay') ? { ...ends, centre: Math.round(full / 2) } : ends;
}

/** `- { role: index.curl, bits: 12, open: 491, closed: 3604 }` */
export function channelLine(role: ChannelRole, bits: number, counts = guessedCounts(role, bits)): string {
  const { open, closed, centre } = counts;
  const middle = centre === undefined ? '' : `, centre: ${centre}`;
  return `- { role: ${role}, bits: ${bits}, open: ${open}, closed: ${closed}${middle} }`;
}

/** `- { role: index, kind: stringStop }` */
export const actuatorLine = (role: ActuatorRole, kind: ActuatorKind): string =>
  `- { role: ${role}, kind: ${kind} }`;
