import { type ClosingProfile, curlOf, setCurl } from '../hand/closing.js';
import { DOF_COUNT, DOFS_PER_FINGER } from '../hand/dofs.js';
import type { FittedMount } from '../hand/fit-mount.js';
import { DOF_SENSED_MAX, DOF_SENSED_MIN } from '../hand/limits.js';
import type { MountSample } from '../hand/mount-model.js';
import { USUAL_SPREAD } from '../hand/mount-solve.js';
import type { Channel } from '../sensing/channels.js';
import type { Lookup } from '../sensing/lookup.js';
import type { FittedChannel } from './fit.js';

/** A sensor whose counts a mount fit would shift, because fingertips that touch one point say that it reads wrong. */
export interface SensorOffset extends FittedChannel {
  /** What it is off by, degrees of the widest joint that it moves: added to what it says. */
  readonly offDeg: number;
}

/** Less is not worth a fit, degrees. */
const LEAST_DEG = 4;
/** Standard deviations that it must be off by. */
const SURE = 2;
/** Part of the range. More is not a shift: the fingers need a fit of their own. */
const MOST = 0.2;
/** How far a sensor is off as a whole, usually, degrees of the widest joint. Common practice. */
const USUAL_SHIFT_DEG = 10;
const rad = (degrees: number): number => (degrees * Math.PI) / 180;
const deg = (radians: number): number => (radians * 180) / Math.PI;

/**
 * Which sensors read wrong, by what the joints were off in a fit of the mount, and the counts that would put them right:
 * the ends of the range shifted, its shape kept. Only a shift, since touches see a finger in about one pose. A finger
 * that one sensor bends as a whole gets the shift along its closing path that comes nearest to its joints'. The thumb of
 * such a glove is left alone: other fingers guide it.
 * @param samples that the mount was fitted to
 */
export function findSensorOffsets(
  { jointBias, jointCovariance }: FittedMount,
  samples: readonly MountSample[],
  channels: readonly Channel[],
  closing: ClosingProfile,
): SensorOffset[] {
  if (!jointBias || !jointCovariance) return [];
  const found: SensorOffset[] = [];
  for (const channel of channels) {
    const { finger, kind, role, profile, source } = channel;
    const own = samples.filter((sample) => sample.finger === finger);
    if (source < 0 || finger < 0 || own.length === 0) continue;
    const byJoints = channels.some((one) => one.finger === finger && one.kind === 'joint' && one.source >= 0);
    if (kind !== 'joint' && (kind !== 'curl' || byJoints || finger === 0)) continue;
    const along = kind === 'joint' ? jointSlope(channel) : curlSlope(closing, finger, own);
    const { shift, spread } = shiftOf(along.slopes, finger, jointBias, jointCovariance, kind === 'curl');
    const widest = deg(Math.max(...along.slopes.map(Math.abs)));
    const size = Math.abs(shift);
    if (size * widest < LEAST_DEG || size < SURE * spread || size > MOST) continue;
    const at = along.value;
    const counts = countsAt(channel.lookup, at + shift) - countsAt(channel.lookup, at);
    const { open, closed } = channel;
    if (
      counts === 0 ||
      Math.min(open, closed) < counts ||
      Math.max(open, closed) - counts > channel.lookup.maxCounts
    )
      continue;
    found.push({
      role,
      bits: profile.bits,
      open: open - counts,
      closed: closed - counts,
      ...(profile.centre === undefined ? {} : { centre: profile.centre - counts }),
      ...(profile.curve ? { curve: profile.curve.map(([at, value]) => [at - counts, value] as const) } : {}),
      residualDeg: spread * widest,
      poses: 1,
      offDeg: shift * widest,
    });
  }
  return found;
}

/**
 * The shift of a sensor's value, and its standard deviation, from what the joints were found to be off.
 *
 * Joints were found as if each were off by itself, by `USUAL_SPREAD.jointDeg`: a sensor that moves one joint is off by
 * just that. One that bends the whole finger moves them together, by slopes s, beside what each is off by itself. With b
 * what was found, C its covariance and p one over the square of that spread, the likeliest shift is
 * v p s'b, of variance v = 1 / (p s's - p^2 s'Cs + q), q one over the square of the usual shift: the spread of the joints
 * about the shift is integrated out.
 */
function shiftOf(
  slopes: readonly number[],
  finger: number,
  bias: readonly number[],
  covariance: readonly number[],
  together: boolean,
): { shift: number; spread: number } {
  const first = finger * DOFS_PER_FINGER;
  let square = 0;
  let found = 0;
  let shared = 0;
  for (let i = 0; i < DOFS_PER_FINGER; i++) {
    square += slopes[i] ** 2;
    found += slopes[i] * bias[first + i];
    for (let j = 0; j < DOFS_PER_FINGER; j++) {
      shared += slopes[i] * slopes[j] * covariance[(first + i) * DOFS_PER_FINGER + j];
    }
  }
  if (!together) return { shift: found / square, spread: Math.sqrt(shared) / square };
  const pull = 1 / rad(USUAL_SPREAD.jointDeg) ** 2;
  const widest = Math.max(...slopes.map(Math.abs));
  const told = pull * square - pull ** 2 * shared + (widest / rad(USUAL_SHIFT_DEG)) ** 2;
  return { shift: (pull * found) / told, spread: 1 / Math.sqrt(told) };
}

/** How each joint of the finger turns with the value of the sensor, radians, and where it stood. */
interface Slope {
  readonly slopes: readonly number[];
  readonly value: number;
}

function jointSlope({ finger, part }: Channel): Slope {
  const dof = finger * DOFS_PER_FINGER + part;
  const slopes = [0, 0, 0, 0];
  slopes[part] = DOF_SENSED_MAX[dof] - DOF_SENSED_MIN[dof];
  return { slopes, value: 0.5 };
}

function curlSlope(closing: ClosingProfile, finger: number, samples: readonly MountSample[]): Slope {
  let value = 0;
  for (const { dofs } of samples) value += curlOf(closing, finger, dofs) / samples.length;
  const [low, high] = [Math.max(0, value - 0.05), Math.min(1, value + 0.05)];
  const first = finger * DOFS_PER_FINGER;
  const [before, after] = [new Float64Array(DOF_COUNT), new Float64Array(DOF_COUNT)];
  setCurl(closing, finger, low, before);
  setCurl(closing, finger, high, after);
  const slopes = [0, 1, 2, 3].map((i) => (after[first + i] - before[first + i]) / (high - low));
  return { slopes, value };
}

/** Counts at which a channel has a value, the nearest of its table. */
function countsAt({ table, shift }: Lookup, value: number): number {
  let best = 0;
  for (let i = 1; i < table.length; i++) {
    if (Math.abs(table[i] - value) < Math.abs(table[best] - value)) best = i;
  }
  return best << shift;
}
