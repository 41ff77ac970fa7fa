/**
 * What parts of a glove can be, so that a figure in another unit is asked about rather than believed. Bounds are common
 * practice, with no source: hobby servos of 2 to 60 g stall at 0.01 to 0.9 N·m, and a string winds on a spool, a horn or
 * a bare shaft. An understated torque, or an overstated radius, would let a string pull harder than its cap.
 */

/** Torques that may stand on a finger, N·m: at least, and less than. */
export const TORQUE_NM = { least: 0.005, below: 1 } as const;
/** Radii at which a string can pull or wind, mm. */
export const RADIUS_MM = { least: 1.5, most: 50 } as const;

/** 1 kgf·cm in N·m: standard gravity, 9.80665 m/s² (3rd CGPM, 1901), over 0.01 m. */
const NM_PER_KG_CM = 0.0980665;
/** A torque from here on is not the kg·cm of a servo that fits a glove. */
const MOST_KG_CM = 40;

/** At most four digits. */
export const figure = (value: number): string => String(Number(value.toPrecision(4)));

/** `1.5 kg·cm is 0.147 N·m`: data sheets of hobby servos give kg·cm. */
export const kgCmInNm = (kgCm: number): string =>
  `${figure(kgCm)} kg·cm is ${Number((kgCm * NM_PER_KG_CM).toPrecision(3))} N·m`;

/** What is odd about a torque, and what may be meant; undefined where nothing is. */
export function askTorque(nm: number): string | undefined {
  if (nm >= TORQUE_NM.below) {
    const meant =
      nm < MOST_KG_CM
        ? `kg·cm, as data sheets give it? ${kgCmInNm(nm)}`
        : `mN·m? ${figure(nm)} mN·m is ${figure(nm / 1000)} N·m`;
    return `${figure(nm)} N·m is more than belongs on a finger; did you mean ${meant}. If it really is that strong, leave it out`;
  }
  if (nm < TORQUE_NM.least) {
    return `${figure(nm)} N·m is less than the smallest servo has, some 0.01 N·m; give what it has at its strongest, in N·m`;
  }
  return undefined;
}

/** The same for the radius of a spool. */
export function askRadius(mm: number): string | undefined {
  if (mm < RADIUS_MM.least) {
    const fits = (value: number) => value >= RADIUS_MM.least && value <= RADIUS_MM.most;
    const meant = fits(mm * 1000)
      ? `did you mean metres? ${figure(mm)} m is ${figure(mm * 1000)} mm`
      : fits(mm * 10)
        ? `did you mean cm? ${figure(mm)} cm is ${figure(mm * 10)} mm`
        : 'give it in mm';
    return `${figure(mm)} mm is thinner than what a string winds on; ${meant}`;
  }
  if (mm > RADIUS_MM.most) {
    return `${figure(mm)} mm is wider than a glove has room for; give the radius, from the axis to the string, in mm`;
  }
  return undefined;
}
