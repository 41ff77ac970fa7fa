/**
 * A potentiometer on a retracting string that runs over the back of a finger.
 *
 *   counts -> shaft angle (electrical travel) -> string travel = spool radius x angle -> joint angles
 *
 * The last step is Landsmeer's first model (J. Landsmeer, "Studies in the anatomy of articulation", Acta Morph.
 * Neerl.-Scand. 3, 1961; cited from memory): a string held at height h over a joint gives travel h x theta, so
 * a finger gives the sum of h_j theta_j, solved for the curl along the closing profile.
 */

/** Writes the three flexion angles (rad) of a finger at a curl of 0..1. Each may only rise with curl. */
export type ClosingAngles = (curl: number, angles: Float64Array) => void;

export interface StringGeometry {
  spoolRadiusMm: number;
  /** Rotation over which the potentiometer reads 0 to full scale, degrees. */
  electricalTravelDeg: number;
  /** Height of the string over each of the three joints, proximal first, mm. */
  heightsMm: readonly [number, number, number];
}

/**
 * Heights over MCP, PIP and DIP when a profile gives none: some half a finger's thickness plus the guide.
 * Common practice, no source; with the calibrated ends only their ratios matter.
 */
export const DEFAULT_HEIGHTS_MM = [12, 9, 7] as const;

export interface StringModel {
  /** Travel of the string from the open hand, mm, for joint angles as they are at that curl. */
  travelMm(curl: number): number;
  /** Curl at which the string has that travel; goes on straight beyond 0 and 1. */
  curlAt(travelMm: number): number;
  /** Rotation of the spool from the open hand, rad. */
  shaftAngle(curl: number): number;
  /** Part of the whole travel, 0..1: what a servo on the same string has to pay out. */
  fractionAt(curl: number): number;
  /** Travel of the closed hand, mm. */
  readonly fullTravelMm: number;
}

/** Travel for given joint angles, mm: the sum of h_j theta_j. Angles in rad. */
export function excursionMm(heightsMm: ArrayLike<number>, angles: ArrayLike<number>): number {
  return heightsMm[0] * angles[0] + heightsMm[1] * angles[1] + heightsMm[2] * angles[2];
}

/** String travel that a change of counts means, mm. */
export function travelFromCountsMm(
  counts: number,
  bits: number,
  geometry: Pick<StringGeometry, 'spoolRadiusMm' | 'electricalTravelDeg'>,
): number {
  const shaft = (counts / (2 ** bits - 1)) * ((geometry.electricalTravelDeg * Math.PI) / 180);
  return shaft * geometry.spoolRadiusMm;
}

const KNOTS = 256;
/** Halvings and secant steps until the bracket is one number. */
const MAX_STEPS = 60;

/** @throws RangeError when the string does not move along the closing profile */
export function createStringModel(geometry: StringGeometry, closing: ClosingAngles): StringModel {
  const { heightsMm, spoolRadiusMm } = geometry;
  const angles = new Float64Array(3);
  closing(0, angles);
  const atOpen = excursionMm(heightsMm, angles);
  const travel = (curl: number): number => {
    closing(curl, angles);
    return excursionMm(heightsMm, angles) - atOpen;
  };
  const table = Float64Array.from({ length: KNOTS + 1 }, (_, i) => travel(i / KNOTS));
  const full = table[KNOTS];
  if (!(full > 0)) throw new RangeError('The string does not move when the finger closes: check heightsMm.');
  for (let i = 0; i < KNOTS; i++) {
    if (table[i + 1] < table[i]) throw new RangeError('The closing profile moves the string backwards.');
  }
  const startSlope = (table[1] - table[0]) * KNOTS || full;
  const endSlope = (table[KNOTS] - table[KNOTS - 1]) * KNOTS || full;
  /** The knot below the last answer: calibrations ask for one travel after the other. */
  let knot = 0;

  return {
    fullTravelMm: full,
    travelMm(curl) {
      if (curl < 0) return curl * startSlope;
      if (curl > 1) return full + (curl - 1) * endSlope;
      return travel(curl);
    },
    curlAt(travelMm) {
      if (travelMm <= 0) return travelMm / startSlope;
      if (travelMm >= full) return 1 + (travelMm - full) / endSlope;
      if (!(table[knot] <= travelMm && travelMm < table[knot + 1])) {
        let low = 0;
        let high = KNOTS;
        while (high - low > 1) {
          const middle = (low + high) >> 1;
          if (table[middle] <= travelMm) low = middle;
          else high = middle;
        }
        knot = low;
      }
      return solve(travel, travelMm, knot / KNOTS, (knot + 1) / KNOTS, table[knot], table[knot + 1]);
    },
    shaftAngle(curl) {
      return this.travelMm(curl) / spoolRadiusMm;
    },
    fractionAt(curl) {
      return this.travelMm(curl) / full;
    },
  };
}

/** Root of f(x) = target in a bracket of a rising function: false position (Illinois), which cannot diverge. */
function solve(
  f: (x: number) => number,
  target: number,
  low: number,
  high: number,
  fLow: number,
  fHigh: number,
): number {
  let below = fLow - target;
  let above = fHigh - target;
  let side = 0;
  let x = low;
  for (let i = 0; i < MAX_STEPS && high - low > 1e-13 && above > below; i++) {
    x = (low * above - high * below) / (above - below);
    const y = f(x) - target;
    if (Math.abs(y) < 1e-13) return x;
    if (y < 0) {
      low = x;
      below = y;
      if (side === -1) above /= 2;
      side = -1;
    } else {
      high = x;
      above = y;
      if (side === 1) below /= 2;
      side = 1;
    }
  }
  return x;
}
