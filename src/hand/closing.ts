import { DIP_PER_PIP } from './coupling.js';
import { DOFS_PER_FINGER, type DofArray } from './dofs.js';
import { FINGERS } from './joints.js';
import { monotoneCurve } from './monotone.js';

/** Angles in degrees as a finger closes, one for each value of `curl` (from 0, open, to 1, closed). */
export interface FingerClosing {
  readonly curl: readonly number[];
  readonly mcp: readonly number[];
  readonly pip: readonly number[];
  /** Left out: coupled to the PIP. */
  readonly dip?: readonly number[];
}

export interface ThumbClosing {
  readonly curl: readonly number[];
  readonly cmcFlexion: readonly number[];
  readonly cmcAbduction: readonly number[];
  readonly mcp: readonly number[];
  readonly ip: readonly number[];
}

/** How each finger closes. Flexion never decreases with curl; the thumb's abduction may go either way. */
export interface ClosingCurves {
  readonly thumb: ThumbClosing;
  readonly index: FingerClosing;
  readonly middle: FingerClosing;
  readonly ring: FingerClosing;
  readonly little: FingerClosing;
}

/** Steps of the table between curl 0 and 1. */
export const CLOSING_STEPS = 64;

/** ClosingCurves as a table for the frame loop, which interpolates linearly. */
export interface ClosingProfile {
  readonly curves: ClosingCurves;
  /** 5 fingers x (CLOSING_STEPS + 1) x DOFS_PER_FINGER angles, radians. */
  readonly table: Float64Array;
  /** 5 fingers x (CLOSING_STEPS + 1): summed flexion, radians, never decreasing. */
  readonly flexion: Float64Array;
}

const FINGER_CLOSING: FingerClosing = {
  curl: [0, 0.25, 0.5, 0.75, 1],
  mcp: [0, 20, 44, 68, 90],
  pip: [0, 29, 57, 81, 100],
};

/**
 * The default: PIP a little ahead of MCP, all within the ranges of JOINT_RANGES; a closed hand is a fist with the
 * thumb over the index and middle fingers. Common practice, checked by distances in the tests.
 */
export const DEFAULT_CLOSING: ClosingCurves = {
  thumb: {
    curl: [0, 0.5, 1],
    cmcFlexion: [-12, -9, -5],
    cmcAbduction: [27, 38, 45],
    mcp: [0, 22, 50],
    ip: [0, 30, 70],
  },
  index: FINGER_CLOSING,
  middle: FINGER_CLOSING,
  ring: FINGER_CLOSING,
  little: FINGER_CLOSING,
};

const ROWS = CLOSING_STEPS + 1;
// As in forward.ts: the engine knows constants of this module.
const LAST_ROW = CLOSING_STEPS;
const DOFS = DOFS_PER_FINGER;

/**
 * Tabulates closing curves.
 * @throws RangeError if a curve does not run from curl 0 to 1, or a flexion decreases.
 */
export function createClosingProfile(curves: ClosingCurves = DEFAULT_CLOSING): ClosingProfile {
  const table = new Float64Array(FINGERS.length * ROWS * DOFS_PER_FINGER);
  const flexion = new Float64Array(FINGERS.length * ROWS);
  for (const [finger, name] of FINGERS.entries()) {
    const columns = columnsOf(curves, name);
    const { curl } = curves[name];
    if (curl[0] !== 0 || curl[curl.length - 1] !== 1) {
      throw new RangeError(`the closing curve of ${name} must run from curl 0 to curl 1`);
    }
    for (const [dof, degrees] of columns.entries()) {
      if (dof !== 1 && degrees.some((value, i) => i > 0 && value < degrees[i - 1])) {
        throw new RangeError(`the closing curve of ${name} must not open again as curl grows`);
      }
      const curve = monotoneCurve(curl, degrees);
      for (let row = 0; row < ROWS; row++) {
        const angle = (curve(row / CLOSING_STEPS) * Math.PI) / 180;
        table[(finger * ROWS + row) * DOFS_PER_FINGER + dof] = angle;
        if (dof !== 1) flexion[finger * ROWS + row] += angle;
      }
    }
  }
  return { curves, table, flexion };
}

function columnsOf(curves: ClosingCurves, name: (typeof FINGERS)[number]): readonly (readonly number[])[] {
  if (name === 'thumb') {
    const { cmcFlexion, cmcAbduction, mcp, ip } = curves.thumb;
    return [cmcFlexion, cmcAbduction, mcp, ip];
  }
  const { curl, mcp, pip, dip } = curves[name];
  return [mcp, curl.map(() => 0), pip, dip ?? pip.map((angle) => angle * DIP_PER_PIP)];
}

/**
 * Sets a finger's flexions from its curl, 0 (open) to 1 (closed), and the thumb's abduction too. Abduction of the
 * other fingers is left alone. `finger` indexes FINGERS.
 */
export function setCurl(profile: ClosingProfile, finger: number, curl: number, dofs: DofArray): void {
  const scaled = curl <= 0 ? 0 : curl >= 1 ? LAST_ROW : curl * LAST_ROW;
  const row = scaled >= LAST_ROW ? LAST_ROW - 1 : scaled | 0;
  const t = scaled - row;
  const { table } = profile;
  const a = (finger * ROWS + row) * DOFS;
  const b = a + DOFS;
  const dof = finger * DOFS;
  dofs[dof] = table[a] + t * (table[b] - table[a]);
  if (finger === 0) dofs[1] = table[a + 1] + t * (table[b + 1] - table[a + 1]);
  dofs[dof + 2] = table[a + 2] + t * (table[b + 2] - table[a + 2]);
  dofs[dof + 3] = table[a + 3] + t * (table[b + 3] - table[a + 3]);
}

/**
 * Sets the rates that go with setCurl, rad/s, from the rate of curl, 1/s. Beyond the ends of curl a finger stands
 * still.
 */
export function setCurlRate(
  profile: ClosingProfile,
  finger: number,
  curl: number,
  curlRate: number,
  dofRates: DofArray,
): void {
  const scaled = Math.min(Math.max(curl, 0), 1) * CLOSING_STEPS;
  const row = Math.min(Math.floor(scaled), CLOSING_STEPS - 1);
  const outwards = (curl <= 0 && curlRate < 0) || (curl >= 1 && curlRate > 0);
  const rowsPerSecond = outwards ? 0 : curlRate * CLOSING_STEPS;
  const { table } = profile;
  const from = (finger * ROWS + row) * DOFS_PER_FINGER;
  const dof = finger * DOFS_PER_FINGER;
  for (let i = 0; i < DOFS_PER_FINGER; i++) {
    if (i === 1 && finger !== 0) continue;
    dofRates[dof + i] = rowsPerSecond * (table[from + DOFS_PER_FINGER + i] - table[from + i]);
  }
}

/** The curl at which a finger's summed flexion on its closing path is `radians`: the inverse of setCurl. */
export function curlAtFlexion(profile: ClosingProfile, finger: number, radians: number): number {
  const { flexion } = profile;
  const first = finger * ROWS;
  if (radians <= flexion[first]) return 0;
  if (radians >= flexion[first + CLOSING_STEPS]) return 1;
  let low = 0;
  let high = CLOSING_STEPS;
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (flexion[first + middle] <= radians) low = middle;
    else high = middle;
  }
  const from = flexion[first + low];
  const span = flexion[first + high] - from;
  return (low + (span > 0 ? (radians - from) / span : 0)) / CLOSING_STEPS;
}

/** The curl of a finger in `dofs`, however its joints share the flexion. */
export function curlOf(profile: ClosingProfile, finger: number, dofs: DofArray): number {
  const dof = finger * DOFS_PER_FINGER;
  return curlAtFlexion(profile, finger, dofs[dof] + dofs[dof + 2] + dofs[dof + 3]);
}
