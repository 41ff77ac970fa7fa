import type { ClosingProfile } from '../hand/closing.js';
import { DOFS_PER_FINGER } from '../hand/dofs.js';
import { DOF_SENSED_MAX, DOF_SENSED_MIN } from '../hand/limits.js';
import { type Channel, closingAnglesOf } from '../sensing/channels.js';
import { createStringModel, DEFAULT_HEIGHTS_MM } from '../sensing/string-model.js';

/** Counts of a channel at both ends, and points [counts, value] in between. */
export interface FittedRange {
  readonly open: number;
  readonly closed: number;
  readonly curve?: readonly (readonly [number, number])[];
}

/** How a channel runs between its ends: what is known beforehand, and how a measured shape is written down. */

/** Points of a measured curve, parts of the closing. */
export const CURVE_AT = [0.15, 0.3, 0.45, 0.6, 0.75, 0.9] as const;
/** A curve that differs less than this from the known shape is omitted. */
export const STRAIGHT = 0.012;
const POINT = 1e-4;

/** Range of the widest joint that a channel moves, degrees. */
export function widestDeg(
  { kind, finger }: Pick<Channel, 'kind' | 'finger'>,
  closing: ClosingProfile,
): number {
  if (kind === 'arch') return 20;
  const angles = new Float64Array(3);
  closingAnglesOf(closing, finger)(1, angles);
  return (Math.max(...angles) * 180) / Math.PI;
}

/** Counts at CURVE_AT as parts of the range, made to rise strictly. */
export function rising(shape: number[]): number[] {
  let least = 0;
  for (const [k, x] of shape.entries()) {
    shape[k] = Math.min(1 - POINT * (shape.length - k), Math.max(least + POINT, x));
    least = shape[k];
  }
  return shape;
}

/**
 * The range of a curl or joint channel from where it was at open and closed hand.
 * @param shape counts at CURVE_AT as parts of the range; undefined: as is known
 */
export function rangeOf(
  channel: Channel,
  closing: ClosingProfile,
  ends: { open: number; closed: number },
  shape: readonly number[] | undefined,
): FittedRange {
  if (channel.kind === 'joint') return jointRange(channel, closing, ends, shape);
  const { open, closed } = ends;
  const points = shape && CURVE_AT.map((at, k) => [open + shape[k] * (closed - open), at] as const);
  return { open, closed, ...(points && { curve: points }) };
}

/** Counts, as a part of the range, that are known to belong to a part of the closing: the string's geometry. */
export function knownShape(channel: Channel, closing: ClosingProfile): (at: number) => number {
  const { profile, finger, kind, part } = channel;
  if (kind === 'curl' && profile.string) {
    const geometry = { ...profile.string, heightsMm: profile.string.heightsMm ?? DEFAULT_HEIGHTS_MM };
    const string = createStringModel(geometry, closingAnglesOf(closing, finger));
    return (at) => string.fractionAt(at);
  }
  if (kind !== 'joint') return (at) => at;
  // A sensor of a joint is straight in that joint's angle.
  const angles = new Float64Array(3);
  const angleAt = closingAnglesOf(closing, finger);
  const own = part === 0 ? 0 : part === 2 ? 1 : 2;
  angleAt(0, angles);
  const first = angles[own];
  angleAt(1, angles);
  const whole = angles[own] - first;
  return (at) => {
    angleAt(at, angles);
    return whole > 0 ? (angles[own] - first) / whole : at;
  };
}

/** A joint's sensor is fitted over the closing, but its value runs over the whole range of the joint. */
function jointRange(
  { finger, part }: Channel,
  closing: ClosingProfile,
  ends: { open: number; closed: number },
  shape: readonly number[] | undefined,
): FittedRange {
  const dof = finger * DOFS_PER_FINGER + part;
  const angles = new Float64Array(3);
  const angleAt = closingAnglesOf(closing, finger);
  const own = part === 0 ? 0 : part === 2 ? 1 : 2;
  const valueAt = (at: number) => {
    angleAt(at, angles);
    return (angles[own] - DOF_SENSED_MIN[dof]) / (DOF_SENSED_MAX[dof] - DOF_SENSED_MIN[dof]);
  };
  const low = valueAt(0);
  const high = valueAt(1);
  const perValue = (ends.closed - ends.open) / (high - low);
  const open = ends.open - low * perValue;
  const closed = ends.closed + (1 - high) * perValue;
  if (!shape) return { open, closed };
  const points = CURVE_AT.map(
    (at, k) => [ends.open + shape[k] * (ends.closed - ends.open), valueAt(at)] as const,
  );
  const first = low > POINT ? [[ends.open, low] as const] : [];
  const last = high < 1 - POINT ? [[ends.closed, high] as const] : [];
  return { open, closed, curve: [...first, ...points, ...last] };
}
