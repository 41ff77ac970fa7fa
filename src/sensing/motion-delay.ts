import type { Mutable } from '../mutable.js';

/**
 * How much later a tracker shows a motion than the glove does, from the angular speed of both: the lag at which they
 * agree best (the peak of the normalised cross-correlation). Speeds need no common frame, so no mount either.
 */
export interface MotionDelay {
  /** Orientation by the glove's own sensor. @param q unit quaternion at index `from` */
  glove(timeUs: number, q: ArrayLike<number>, from?: number): void;
  tracker(timeUs: number, q: ArrayLike<number>, from?: number): void;
  /** @returns µs, positive where the tracker is late; undefined where the motion does not tell */
  read(): number | undefined;
}

const STEP_US = 5000;
/** Four seconds. */
const SLOTS = 800;
const EARLIEST = -6;
const LATEST = 20;
/** Of angular speed, rad/s: a hand that keeps still tells nothing. */
const LEAST_SPREAD = 0.35;
const LEAST_AGREEMENT = 0.8;
/** Of the slots that must be known to both. */
const LEAST_SLOTS = 300;

export function createMotionDelay(): MotionDelay {
  const glove = createSpeeds();
  const tracker = createSpeeds();
  const agreement = new Float64Array(LATEST - EARLIEST + 1);
  return {
    glove: glove.add,
    tracker: tracker.add,
    read() {
      glove.smooth();
      tracker.smooth();
      for (let lag = EARLIEST; lag <= LATEST; lag++) agreement[lag - EARLIEST] = agree(glove, tracker, lag);
      let best = 0;
      for (let i = 1; i < agreement.length; i++) if (agreement[i] > agreement[best]) best = i;
      if (!(agreement[best] >= LEAST_AGREEMENT) || best === 0 || best === agreement.length - 1)
        return undefined;
      // The top of the parabola through the best and its neighbours.
      const [a, b, c] = [agreement[best - 1], agreement[best], agreement[best + 1]];
      const bend = a - 2 * b + c;
      const beside = bend < 0 ? (0.5 * (a - c)) / bend : 0;
      return (best + EARLIEST + beside) * STEP_US;
    },
  };
}

interface Speeds {
  /** Smoothed. */
  readonly even: Float64Array;
  /** Number of the last slot that is known. */
  readonly last: number;
  add(timeUs: number, q: ArrayLike<number>, from?: number): void;
  /** Makes `even` of what came. */
  smooth(): void;
}

/** Each slot is the mean of so many to either side: speeds over a few milliseconds are mostly noise. */
const BESIDE = 4;

/** Angular speed by slots of STEP_US; NaN where it is not known. */
function createSpeeds(): Speeds {
  const values = new Float64Array(SLOTS).fill(Number.NaN);
  const even = new Float64Array(SLOTS).fill(Number.NaN);
  const before = new Float64Array(4);
  let beforeUs = Number.NaN;
  const speeds: Mutable<Speeds> = {
    even,
    last: Number.NEGATIVE_INFINITY,
    smooth() {
      for (let slot = 0; slot < SLOTS; slot++) {
        let sum = 0;
        for (let k = -BESIDE; k <= BESIDE; k++) sum += values[(slot + k + SLOTS) % SLOTS];
        even[slot] = sum / (2 * BESIDE + 1);
      }
    },
    add(timeUs, q, from = 0) {
      const passedUs = timeUs - beforeUs;
      // Over less time a turn is mostly noise.
      if (passedUs < 1.6 * STEP_US) return;
      const x = q[from];
      const y = q[from + 1];
      const z = q[from + 2];
      const w = q[from + 3];
      if (passedUs < 40 * STEP_US) {
        const dx = before[3] * x - before[0] * w - before[1] * z + before[2] * y;
        const dy = before[3] * y - before[1] * w - before[2] * x + before[0] * z;
        const dz = before[3] * z - before[2] * w - before[0] * y + before[1] * x;
        const dw = Math.abs(before[3] * w + before[0] * x + before[1] * y + before[2] * z);
        const speed = (2 * Math.atan2(Math.hypot(dx, dy, dz), dw)) / (passedUs / 1e6);
        const to = Math.floor(timeUs / STEP_US);
        for (let slot = Math.floor(beforeUs / STEP_US) + 1; slot <= to; slot++) values[slot % SLOTS] = speed;
        speeds.last = to;
      } else {
        values.fill(Number.NaN);
        speeds.last = Number.NEGATIVE_INFINITY;
      }
      before[0] = x;
      before[1] = y;
      before[2] = z;
      before[3] = w;
      beforeUs = timeUs;
    },
  };
  return speeds;
}

/** Normalised correlation of what the glove did with what the tracker did `lag` slots later; NaN: it tells nothing. */
function agree(glove: Speeds, tracker: Speeds, lag: number): number {
  const end = Math.min(glove.last, tracker.last - lag) - BESIDE;
  if (!Number.isFinite(end)) return Number.NaN;
  const start = Math.max(glove.last, tracker.last) - SLOTS + 1 + LATEST + BESIDE;
  let n = 0;
  let a = 0;
  let b = 0;
  let aa = 0;
  let bb = 0;
  let ab = 0;
  for (let slot = start; slot <= end; slot++) {
    if (slot < 0 || slot + lag < 0) continue;
    const x = glove.even[slot % SLOTS];
    const y = tracker.even[(slot + lag) % SLOTS];
    if (Number.isNaN(x) || Number.isNaN(y)) continue;
    n++;
    a += x;
    b += y;
    aa += x * x;
    bb += y * y;
    ab += x * y;
  }
  if (n < LEAST_SLOTS) return Number.NaN;
  const spreadA = aa / n - (a / n) ** 2;
  const spreadB = bb / n - (b / n) ** 2;
  if (spreadA < LEAST_SPREAD ** 2 || spreadB < LEAST_SPREAD ** 2) return Number.NaN;
  return (ab / n - (a / n) * (b / n)) / Math.sqrt(spreadA * spreadB);
}
