import type { DofArray } from '../hand/dofs.js';
import { fitMountByMotion, fitMountSteps, type MountOutcome, type MountSample } from '../hand/fit-mount.js';
import { FINGERS } from '../hand/joints.js';
import { pivotMiss, turnSpread } from '../hand/mount-start.js';
import type { Skeleton } from '../hand/skeleton.js';
import type { Steps } from '../steps.js';
import type { GuideReport } from './report.js';

/**
 * Leads a wearer through what shows how the tracker sits on the hand: nod, wave, then each fingertip in turn on one
 * and the same spot, while the hand turns about it. A state machine over samples, with no clock of its own.
 */
export interface MountRun {
  readonly move: NonNullable<GuideReport['move']>;
  /** What is fitted to. */
  readonly touched: readonly MountSample[];
  /**
   * One sample.
   * @param tracker where the tracker was at its time; undefined: nobody says
   * @param number which tracker that is: another one, or another space, ends the run
   * @returns what was found, once that is known, or why it ends
   */
  sample(
    timeUs: number,
    dofs: DofArray,
    tracker: Float64Array | undefined,
    number?: number,
  ): MountOutcome | { stopped: string } | undefined;
  /** The present move is made, or cannot be: go on. */
  next(): void;
}

interface MountMove {
  readonly name: string;
  readonly prompt: string;
  /** Of a touch. */
  readonly finger?: number;
}

const MOVES: readonly MountMove[] = [
  { name: 'nod', prompt: 'Forearm on the table, palm down: nod the hand, first down, a few times.' },
  { name: 'wave', prompt: 'Now wave it sideways, first towards the thumb, a few times.' },
];
const TIPS = [
  'Thumb tip',
  'Index fingertip',
  'Middle fingertip',
  'Ring fingertip',
  'Little fingertip',
] as const;
const touch = (finger: number): MountMove => ({
  name: FINGERS[finger],
  finger,
  prompt: `${TIPS[finger]} on the same spot each time: turn hand, bend finger.`,
});

const radians = (degrees: number): number => (degrees * Math.PI) / 180;
/** Time to read. What comes before belongs to the move before. */
const READ_S = 0.6;
const SWING_S = 4;
const TOUCH_S = 3;
const GIVE_UP_S = 12;
const SILENT_US = 3e6;
/** Poses a second that are kept: more say nothing more. */
const EVERY_US = 90_000;
const SWING_EVERY_US = 30_000;
/** A hand that turns about its fingertip: so far about one axis, and about another. */
const TURNED_RAD = radians(9);
const TURNED_ASIDE_RAD = radians(5);
/** From one point; the finger gives a little meanwhile. */
const ABOUT_M = 0.012;
/** Tips of two fingers are farther apart on the tracker. */
const OTHER_FINGER_M = 0.01;
const SWUNG_RAD = radians(6);

const ANOTHER =
  'Another tracker took over, or the same one in another space: let one alone say where the hand is, and begin again.';

/** @param fingers those that are sensed, as indices into FINGERS */
export function createMountRun(skeleton: Skeleton, fingers: readonly number[]): MountRun {
  const moves = [...MOVES, ...fingers.map(touch)];
  const swings: Float64Array[][] = [[], []];
  const touched: MountSample[] = [];
  let at = 0;
  let startUs = Number.NaN;
  let keptUs = Number.NEGATIVE_INFINITY;
  let heardUs = Number.NaN;
  let window: MountSample[] = [];
  let lastHeld: readonly number[] | undefined;
  let part = 0;
  let first: number | undefined;
  let solving: Steps<MountOutcome> | undefined;

  function goOn(): void {
    if (at >= moves.length) return;
    at++;
    startUs = Number.NaN;
    keptUs = Number.NEGATIVE_INFINITY;
    window = [];
    part = 0;
    if (at >= moves.length) solving = solve();
  }

  function* solve(): Steps<MountOutcome> {
    const [nod, wave] = swings;
    const motion = fitMountByMotion(skeleton.side, nod, wave);
    // Nothing was touched: nodding and waving are all there is.
    if (touched.length === 0) return motion;
    const start = 'fitted' in motion ? motion.fitted.mount : undefined;
    return yield* fitMountSteps(skeleton, touched, start);
  }

  function swing(poses: Float64Array[], tracker: Float64Array, sinceS: number): void {
    poses.push(Float64Array.from(tracker));
    const [, , swung] = turnSpread(poses.slice(-Math.ceil(SWING_S / (SWING_EVERY_US / 1e6))));
    // Only once it swings: what comes before is a hand that gets ready.
    if (swung < SWUNG_RAD && poses.length > 30) poses.splice(0, poses.length - 30);
    part = Math.min(1, (poses.length * SWING_EVERY_US) / 1e6 / SWING_S);
    if (part >= 1 && swung >= SWUNG_RAD) goOn();
    else if (sinceS > GIVE_UP_S) goOn();
  }

  function turnAbout(finger: number, tracker: Float64Array, dofs: DofArray, sinceS: number): void {
    window.push({ finger, tracker: Float64Array.from(tracker), dofs: Float64Array.from(dofs) });
    const most = Math.floor(TOUCH_S / (EVERY_US / 1e6));
    if (window.length > most) window.shift();
    part = window.length / most;
    if (window.length === most) {
      const held = heldStill(window);
      if (held) {
        touched.push(...window);
        lastHeld = held;
        goOn();
        return;
      }
      part = 0.9;
    }
    if (sinceS > GIVE_UP_S) goOn();
  }

  /** Where on the tracker the hand turns about, once it does so about a point that is not the last finger's. */
  function heldStill(samples: readonly MountSample[]): readonly number[] | undefined {
    const poses = samples.map(({ tracker }) => tracker);
    const [, aside, most] = turnSpread(poses);
    if (most < TURNED_RAD || aside < TURNED_ASIDE_RAD) return undefined;
    const pivot = pivotMiss(poses);
    if (!pivot || pivot.rmsM > ABOUT_M) return undefined;
    const { held } = pivot;
    if (lastHeld && Math.hypot(...held.map((value, k) => value - lastHeld![k])) < OTHER_FINGER_M)
      return undefined;
    return held;
  }

  return {
    touched,
    get move() {
      const { name, prompt } = moves[Math.min(at, moves.length - 1)];
      return {
        name,
        prompt,
        number: Math.min(at + 1, moves.length),
        count: moves.length,
        part: solving ? 1 : part,
      };
    },
    next() {
      const finger = moves[at]?.finger;
      // The wearer says that it was made: what was seen is judged with the rest.
      if (finger !== undefined && window.length > 8) touched.push(...window);
      goOn();
    },
    sample(timeUs, dofs, tracker, number = 1) {
      if (solving) {
        const { done, value } = solving.next();
        return done ? value : undefined;
      }
      if (tracker) first ??= number;
      if (tracker && number !== first) return { stopped: ANOTHER };
      if (Number.isNaN(heardUs) || tracker) heardUs = timeUs;
      if (timeUs - heardUs > SILENT_US) return { stopped: 'The tracker on the hand fell silent.' };
      if (Number.isNaN(startUs)) startUs = timeUs;
      const sinceS = (timeUs - startUs) / 1e6;
      const { finger } = moves[at];
      if (!tracker || sinceS < READ_S) return undefined;
      if (timeUs - keptUs < (finger === undefined ? SWING_EVERY_US : EVERY_US)) return undefined;
      keptUs = timeUs;
      if (finger === undefined) swing(swings[at], tracker, sinceS);
      else turnAbout(finger, tracker, dofs, sinceS);
      return undefined;
    },
  };
}
