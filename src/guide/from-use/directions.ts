/**
 * Which way round sensors are. Fingers of a hand close together, which tells which channels agree; what is open and what
 * is closed is seen from one finger that is straight while the others are closed: to point, or thumb up. The opposite, one
 * finger closed and the others straight, tendons hardly permit.
 */
export interface Directions {
  /** Per channel: 1 counts rise as the hand closes, -1 they fall, 0 it moves unlike the others. */
  readonly signs: Int8Array;
  /** How sure which is open and which is closed, natural logarithm of the odds. */
  readonly logOdds: number;
  /** One finger straight among closed ones. */
  readonly points: number;
}

export interface DirectionChannel {
  /** Level 0..1 between the ends, by counts. */
  readonly levels: Float64Array;
  /** Index into FINGERS. */
  readonly finger: number;
  /** As in use: 1 or -1. */
  readonly said: number;
  /** Odds that what is in use is the right way round. */
  readonly odds: number;
}

/** Every so many rows are looked at. */
const EVERY = 5;
/** Channels that agree less with the rest of the hand tell nothing. */
const AGREES = 0.3;
const ROUNDS = 30;
/** Straight, and closed, between the ends; poses one of which is at least so many looks long. */
const STRAIGHT_BELOW = 0.15;
const CLOSED_ABOVE = 0.8;
const LOOKS = 3;
/** Odds of one such pose, and most that all of them count. */
const POSE_ODDS = 4;
const MOST_POSES = 5;

export function directionsOf(channels: readonly DirectionChannel[]): Directions {
  const signs = agreement(channels);
  let logOdds = 0;
  for (const [i, { said, odds }] of channels.entries()) logOdds += signs[i] * said * Math.log(odds);
  const [points, opposite] = posesOfOne(channels, signs);
  const net = Math.max(-MOST_POSES, Math.min(MOST_POSES, points - opposite));
  logOdds += net * Math.log(POSE_ODDS);
  if (logOdds >= 0) return { signs, logOdds, points };
  return { signs: signs.map((sign) => -sign), logOdds: -logOdds, points: opposite };
}

/** Signs of the first principal component of the channels' motion, by power iteration. */
function agreement(channels: readonly DirectionChannel[]): Int8Array {
  const n = channels.length;
  const deviations = channels.map(({ levels }) => standardized(levels));
  const correlation = new Float64Array(n * n);
  for (let i = 0; i < n; i++) {
    for (let j = i; j < n; j++) {
      let sum = 0;
      for (let k = 0; k < deviations[i].length; k++) sum += deviations[i][k] * deviations[j][k];
      correlation[i * n + j] = sum / Math.max(1, deviations[i].length);
      correlation[j * n + i] = correlation[i * n + j];
    }
  }
  let axis = Float64Array.from(channels, ({ said }, i) => said * (1 + 0.01 * i));
  for (let round = 0; round < ROUNDS; round++) {
    const next = axis.map((_, i) => {
      let sum = 0;
      for (let j = 0; j < n; j++) sum += correlation[i * n + j] * axis[j];
      return sum;
    });
    const length = Math.hypot(...next) || 1;
    axis = next.map((x) => x / length);
  }
  // Of n channels that all agree, each has 1 / sqrt(n).
  return Int8Array.from(axis, (x) => (Math.abs(x) * Math.sqrt(n) < AGREES ? 0 : Math.sign(x)));
}

function standardized(levels: Float64Array): Float64Array {
  const picked = Float64Array.from({ length: Math.ceil(levels.length / EVERY) }, (_, k) => levels[k * EVERY]);
  let mean = 0;
  for (const x of picked) mean += x / picked.length;
  let square = 0;
  for (const x of picked) square += (x - mean) ** 2 / picked.length;
  const scale = 1 / Math.max(1e-9, Math.sqrt(square));
  return picked.map((x) => (x - mean) * scale);
}

/** Poses in which one finger is at the low end and all others are at the high end, and the other way round. */
function posesOfOne(channels: readonly DirectionChannel[], signs: Int8Array): [number, number] {
  const fingers = [1, 2, 3, 4].map((finger) =>
    channels.flatMap((channel, i) => (channel.finger === finger && signs[i] !== 0 ? [i] : [])),
  );
  if (fingers.some((own) => own.length === 0)) return [0, 0];
  const counts: [number, number] = [0, 0];
  const lasted = [0, 0];
  const { length } = channels[0].levels;
  for (let k = 0; k < length; k += EVERY) {
    let low = 0;
    let high = 0;
    for (const own of fingers) {
      let sum = 0;
      for (const i of own) sum += signs[i] > 0 ? channels[i].levels[k] : 1 - channels[i].levels[k];
      const at = sum / own.length;
      if (at < STRAIGHT_BELOW) low++;
      else if (at > CLOSED_ABOVE) high++;
    }
    const seen = [low === 1 && high === 3, high === 1 && low === 3];
    // Mirrored: the same thresholds hold the other way round.
    for (const which of [0, 1]) {
      lasted[which] = seen[which] ? lasted[which] + 1 : 0;
      if (lasted[which] === LOOKS) counts[which]++;
    }
  }
  return counts;
}
