import { DOFS_PER_FINGER } from '../../hand/dofs.js';
import { DOF_SENSED_MAX, DOF_SENSED_MIN } from '../../hand/limits.js';
import type { Channel } from '../channels.js';

/** What the readings of a healthy channel may be, from its calibration: counts, one entry a channel. */
export interface SignalBounds {
  /** Channels whose signal can be judged: it is sent, and plain analogue. */
  readonly watched: Int16Array;
  /** Those of them that measure a finger. */
  readonly watchedFingers: Int16Array;
  /** 1: it measures a finger. */
  readonly ofFinger: Uint8Array;
  /** Full scale of the converter. */
  readonly full: Float64Array;
  readonly open: Float64Array;
  /** The calibrated end with fewer counts. */
  readonly lowEnd: Float64Array;
  /** From open to closed; at least 1. */
  readonly span: Float64Array;
  /** -1 where counts fall from open to closed, else 1. */
  readonly direction: Float64Array;
  /** A reading so near to an end of the converter is at its end. */
  readonly railWidth: Float64Array;
  /** At or below / above it a reading is at a rail; out of reach when the calibrated range goes there. */
  readonly lowRail: Float64Array;
  readonly highRail: Float64Array;
  /** Between these a reading is neither at an end nor on the wrong side of open. */
  readonly low: Float64Array;
  readonly high: Float64Array;
  /** Step from sample to sample that is always allowed. */
  readonly stepMargin: Float64Array;
  /** Fastest change that its wearer can make, counts a second. */
  readonly fastest: Float64Array;
  /** Greatest change of that speed, counts a second squared: a finger gathers speed, and stops as fast as what it hits. */
  readonly quickest: Float64Array;
  /** Variance above which a signal is noisy. */
  readonly noisyVariance: Float64Array;
  /** Second difference above which a reading may be part of a zigzag. */
  readonly zigzag: Float64Array;
}

/** No finger is faster; common practice. A snap of the fingers is, and is held over for its few hundredths of a second. */
const MAX_DEG_PER_S = 1500;
const RATE_MARGIN = 1.25;
/**
 * No finger gathers speed faster, but for a snap. The movement of least jerk (Flash & Hogan, Journal of Neuroscience 5(7),
 * 1985) that closes a finger by 90 degrees with 1500 deg/s at its quickest takes 112 ms and needs 41,000.
 */
const MAX_DEG_PER_S2 = 100_000;
/** A stick or trigger that springs back goes through its range in a hundred-and-twentieth of a second. */
const SPRINGY_DEG = (RATE_MARGIN * MAX_DEG_PER_S) / 120;
/** Part of the calibrated span: noise and a lost sample. */
const STEP_MARGIN = 0.06;
/** Noise, part of the span: some four times what a plain 12-bit converter in a microcontroller shows. */
const NOISY = 0.006;
/**
 * An open input with a pull-down does not read 0: the converter's own capacitor brings charge of the input before (2 % of
 * that one's reading, docs/wiring.md), and inputs leak. Part of full scale. A channel whose readings have shifted while it
 * was worn, part of the span, does not get there.
 */
export const OPEN_INPUT = 0.03;
const WORN = 0.13;
/** No finger goes so far out on the open side; part of the span. */
export const REVERSED_AT = -0.3;

export function boundsOf(channels: readonly Channel[]): SignalBounds {
  const each = (bound: (channel: Channel, i: number) => number) => Float64Array.from(channels, bound);
  const watched = Int16Array.from(channels.flatMap((channel, i) => (isWatched(channel) ? [i] : [])));
  const ofFinger = Uint8Array.from(channels, (c) => (c.finger >= 0 ? 1 : 0));
  const full = each((c) => c.lookup.maxCounts);
  const open = each((c) => c.open);
  const span = each((c) => Math.max(1, Math.abs(c.closed - c.open)));
  const direction = each((c) => (c.closed < c.open ? -1 : 1));
  const railWidth = each((_, i) => Math.floor(full[i] / 2000));
  const lowEnd = each((c) => Math.min(c.open, c.closed));
  const clear = each((_, i) => Math.max(0.08 * span[i], 0.02 * full[i]));
  const lowRail = each((_, i) =>
    lowEnd[i] > clear[i]
      ? Math.max(railWidth[i], Math.min(OPEN_INPUT * full[i], lowEnd[i] - WORN * span[i]))
      : -1,
  );
  const highRail = each((c, i) =>
    Math.max(c.open, c.closed) < full[i] - clear[i] ? full[i] - railWidth[i] : full[i] + 1,
  );
  const wrong = each((c, i) => c.open + REVERSED_AT * span[i] * direction[i]);
  return {
    watched,
    watchedFingers: watched.filter((i) => ofFinger[i] !== 0),
    ofFinger,
    full,
    open,
    lowEnd,
    span,
    direction,
    railWidth,
    lowRail,
    highRail,
    low: each((_, i) =>
      Math.max(railWidth[i], lowRail[i], ofFinger[i] !== 0 && direction[i] > 0 ? wrong[i] : -1),
    ),
    high: each((_, i) =>
      Math.min(
        full[i] - railWidth[i],
        highRail[i],
        ofFinger[i] !== 0 && direction[i] < 0 ? wrong[i] : full[i] + 1,
      ),
    ),
    stepMargin: each((_, i) => STEP_MARGIN * span[i] + 2),
    fastest: each((c, i) => (RATE_MARGIN * MAX_DEG_PER_S * span[i]) / rangeDeg(c)),
    quickest: each((c, i) => (c.finger >= 0 ? (MAX_DEG_PER_S2 * span[i]) / rangeDeg(c) : Infinity)),
    noisyVariance: each((_, i) => Math.max(NOISY * span[i], 1.5) ** 2),
    zigzag: each((_, i) => Math.max(1.5 * NOISY * span[i], 3)),
  };
}

export const isAtEnd = ({ railWidth, full }: SignalBounds, channel: number, x: number): boolean =>
  x <= railWidth[channel] || x >= full[channel] - railWidth[channel];

export const isAtRail = ({ lowRail, highRail }: SignalBounds, channel: number, x: number): boolean =>
  x <= lowRail[channel] || x >= highRail[channel];

/** 0 at open, 1 at closed. */
export const positionOf = ({ open, direction, span }: SignalBounds, channel: number, x: number): number =>
  ((x - open[channel]) * direction[channel]) / span[channel];

/** Orientation sensors compute and touch pads switch: neither is a plain analogue channel. */
function isWatched(channel: Channel): boolean {
  return channel.source >= 0 && channel.kind !== 'wrist' && channel.role !== 'thumbRest';
}

/** Degrees that the calibrated span stands for. */
function rangeDeg({ kind, finger, part }: Channel): number {
  if (kind === 'curl') return 90;
  if (kind === 'splay') return 30;
  if (kind !== 'joint') return SPRINGY_DEG;
  const dof = finger * DOFS_PER_FINGER + part;
  return ((DOF_SENSED_MAX[dof] - DOF_SENSED_MIN[dof]) * 180) / Math.PI;
}
