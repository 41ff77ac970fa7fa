import type { End, Visit } from './visits.js';

/**
 * Whether the end that a finger went to is its own, or a thing in the hand that is always the same. A cup stops every finger
 * at its place time after time, but all of them at once: when a finger comes to the same end although another one is
 * straight, as in pointing, the end is the finger's own. Whatever else is at its end at the
 * same time, again and again, is so as well: a fist, a flat hand.
 */
export interface WallFinger {
  /** Index into FINGERS. */
  readonly finger: number;
  /** Part of the range, 0 open to 1 closed, by row. */
  readonly values: Float64Array;
  readonly open: End;
  readonly closed: End;
}

/** A finger is at its other end, part of its range. */
const OPPOSITE = 0.12;
/** Times that it was so while the finger came to its end: once may be chance. */
const APART = 2;
/** Times that a finger was at its end together with one that is sure. */
const TOGETHER = 2;

type Side = 'open' | 'closed';

/** @returns by channel, whether the end at this side is the finger's own */
export function wallsAt(side: Side, channels: readonly WallFinger[]): boolean[] {
  const sure = channels.map((one, i) => one[side].crowded && stoppedAlone(side, channels, i));
  const inConcert = channels.map((one, i) => {
    if (sure[i]) return true;
    if (!one[side].crowded) return false;
    const together = one[side].visits.filter((visit) =>
      channels.some(
        (other, j) =>
          sure[j] && other.finger !== one.finger && other[side].visits.some((its) => overlap(visit, its)),
      ),
    );
    return together.length >= TOGETHER;
  });
  return inConcert;
}

/** It came to its end while another finger was at the other. The thumb does not count: it is lifted from a cup. */
function stoppedAlone(side: Side, channels: readonly WallFinger[], i: number): boolean {
  const { finger, [side]: end } = channels[i];
  return channels.some(({ finger: other, values }) => {
    if (other === finger || other === 0) return false;
    const apart = end.visits.filter(({ from, to }) => {
      const value = values[(from + to) >> 1];
      return side === 'closed' ? value < OPPOSITE : value > 1 - OPPOSITE;
    });
    return apart.length >= APART;
  });
}

const overlap = (a: Visit, b: Visit): boolean => a.from < b.to && b.from < a.to;
