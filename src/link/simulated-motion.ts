/**
 * The motion of the simulated hand: a script of everyday gestures at human speed, as a function of time
 * alone, so that the same seed and time always give the same hand.
 */

export const FINGER_COUNT = 5;

/** A hand at one moment, thumb first. */
export interface HandPose {
  /** 0 open .. 1 closed. */
  curls: Float64Array;
  /** 0 fingers together .. 1 spread. */
  splays: Float64Array;
  /** -1 .. 1. */
  stickX: number;
  stickY: number;
  /** Bit of SIMULATED_BUTTONS. */
  buttons: number;
}

export const newHandPose = (): HandPose => ({
  curls: new Float64Array(FINGER_COUNT),
  splays: new Float64Array(FINGER_COUNT),
  stickX: 0,
  stickY: 0,
  buttons: 0,
});

export const SIMULATED_BUTTONS = { a: 0, b: 1, thumbstick: 2 } as const;

type Five = readonly [number, number, number, number, number];
interface Gesture {
  curls: Five;
  splays: Five;
}
const RELAXED: Five = [0.65, 0.45, 0.5, 0.45, 0.5];
const CLOSE: Five = [0.35, 0.15, 0.15, 0.15, 0.15];
const GESTURES = {
  open: { curls: [0.05, 0.03, 0.03, 0.04, 0.05], splays: RELAXED },
  fist: { curls: [0.78, 0.96, 0.97, 0.96, 0.95], splays: CLOSE },
  point: { curls: [0.7, 0.03, 0.95, 0.95, 0.93], splays: CLOSE },
  pinch: { curls: [0.5, 0.55, 0.14, 0.12, 0.1], splays: [0.85, 0.3, 0.4, 0.45, 0.5] },
  splay: { curls: [0.02, 0.02, 0.02, 0.02, 0.03], splays: [0.97, 0.95, 0.5, 0.95, 0.97] },
  together: { curls: [0.1, 0.03, 0.03, 0.03, 0.04], splays: [0.1, 0.05, 0.5, 0.05, 0.05] },
  two: { curls: [0.7, 0.03, 0.04, 0.94, 0.93], splays: [0.35, 0.8, 0.5, 0.15, 0.15] },
  three: { curls: [0.7, 0.03, 0.03, 0.06, 0.9], splays: [0.35, 0.8, 0.5, 0.8, 0.15] },
  four: { curls: [0.72, 0.03, 0.03, 0.04, 0.05], splays: [0.3, 0.8, 0.5, 0.8, 0.8] },
} as const satisfies Record<string, Gesture>;

interface Step {
  to: keyof typeof GESTURES;
  /** Time to get there. A fist takes some 0.3-0.5 s when it is not hurried. */
  moveS: number;
  holdS: number;
  button?: keyof typeof SIMULATED_BUTTONS;
  stick?: boolean;
}
const SCRIPT: readonly Step[] = [
  { to: 'open', moveS: 0.45, holdS: 1, stick: true },
  { to: 'fist', moveS: 0.4, holdS: 0.9 },
  { to: 'open', moveS: 0.4, holdS: 0.5 },
  { to: 'point', moveS: 0.38, holdS: 0.9, button: 'a' },
  { to: 'open', moveS: 0.38, holdS: 0.4 },
  { to: 'pinch', moveS: 0.42, holdS: 0.8 },
  { to: 'open', moveS: 0.35, holdS: 0.3 },
  { to: 'pinch', moveS: 0.35, holdS: 0.5, button: 'b' },
  { to: 'splay', moveS: 0.45, holdS: 0.6 },
  { to: 'together', moveS: 0.35, holdS: 0.4 },
  { to: 'splay', moveS: 0.35, holdS: 0.4 },
  { to: 'fist', moveS: 0.45, holdS: 0.6, button: 'thumbstick' },
  { to: 'point', moveS: 0.32, holdS: 0.4 },
  { to: 'two', moveS: 0.3, holdS: 0.4 },
  { to: 'three', moveS: 0.3, holdS: 0.4 },
  { to: 'four', moveS: 0.3, holdS: 0.4 },
  { to: 'open', moveS: 0.3, holdS: 0.5 },
];
const STEP_START_S: readonly number[] = SCRIPT.map((_, i) =>
  SCRIPT.slice(0, i).reduce((sum, { moveS, holdS }) => sum + moveS + holdS, 0),
);
/** Seconds after which the script repeats (with other small variations). */
export const MOTION_CYCLE_S = SCRIPT.reduce((sum, { moveS, holdS }) => sum + moveS + holdS, 0);

/** A well-mixed 32 bit value of three integers: the last steps of MurmurHash3 (A. Appleby, public domain). */
export function hash(a: number, b: number, c: number): number {
  let h = (Math.imul(a | 0, 0x9e3779b1) ^ Math.imul(b | 0, 0x85ebca6b) ^ Math.imul(c | 0, 0xc2b2ae35)) >>> 0;
  h = Math.imul(h ^ (h >>> 16), 0x85ebca6b);
  h = Math.imul(h ^ (h >>> 13), 0xc2b2ae35);
  return (h ^ (h >>> 16)) >>> 0;
}
const unit = (a: number, b: number, c: number): number => hash(a, b, c) / 0x100000000;

/** Minimum-jerk course of a point-to-point movement (Flash & Hogan, J. Neuroscience 5(7), 1985). */
const minimumJerk = (t: number): number => (t <= 0 ? 0 : t >= 1 ? 1 : t * t * t * (10 + t * (6 * t - 15)));

/** Where step `index` (counted from the start of time) leads finger `finger`: never twice quite the same. */
function target(seed: number, index: number, finger: number, part: 'curls' | 'splays'): number {
  const { to } = SCRIPT[((index % SCRIPT.length) + SCRIPT.length) % SCRIPT.length];
  const salt = finger + (part === 'curls' ? 0 : FINGER_COUNT);
  const varied = GESTURES[to][part][finger] + 0.03 * (unit(seed, index, salt) - 0.5);
  return Math.max(0, Math.min(1, varied));
}

/** Amplitude of one tremor component, in curl. */
const TREMOR = 0.0012;

/**
 * Writes the hand at `timeS` (from 0) into `pose`.
 * Fingers start up to 40 ms apart; physiological tremor is two components of 8-12 Hz (common knowledge).
 */
export function moveHand(seed: number, timeS: number, pose: HandPose): void {
  const cycle = Math.floor(timeS / MOTION_CYCLE_S);
  // After hours the product may round above the time.
  const inCycleS = Math.max(0, timeS - cycle * MOTION_CYCLE_S);
  let stepIndex = SCRIPT.length - 1;
  while (STEP_START_S[stepIndex] > inCycleS) stepIndex--;
  const step = SCRIPT[stepIndex];
  const index = cycle * SCRIPT.length + stepIndex;
  const inStepS = inCycleS - STEP_START_S[stepIndex];
  for (let finger = 0; finger < FINGER_COUNT; finger++) {
    const lateS = 0.04 * unit(seed, index, 16 + finger);
    const progress = minimumJerk(
      (inStepS - lateS) / (step.moveS * (0.9 + 0.2 * unit(seed, index, 24 + finger))),
    );
    const phase = 2 * Math.PI * unit(seed, finger, 32);
    const tremor =
      TREMOR *
      (Math.sin(2 * Math.PI * (8.3 + 0.2 * finger) * timeS + phase) +
        Math.sin(2 * Math.PI * 11.1 * timeS + 2 * phase));
    const curlFrom = target(seed, index - 1, finger, 'curls');
    const splayFrom = target(seed, index - 1, finger, 'splays');
    pose.curls[finger] = curlFrom + (target(seed, index, finger, 'curls') - curlFrom) * progress + tremor;
    pose.splays[finger] =
      splayFrom + (target(seed, index, finger, 'splays') - splayFrom) * progress + tremor / 2;
  }
  const holdProgress = (inStepS - step.moveS) / step.holdS;
  // Out and back along a circle during the hold: sin^2 starts and ends at rest.
  const tilt = step.stick && holdProgress > 0 ? Math.sin(Math.PI * holdProgress) ** 2 : 0;
  pose.stickX = tilt * Math.sin(2 * Math.PI * holdProgress);
  pose.stickY = tilt * Math.cos(2 * Math.PI * holdProgress);
  const pressed = step.button !== undefined && holdProgress > 0.2 && holdProgress < 0.6;
  pose.buttons = pressed ? 1 << SIMULATED_BUTTONS[step.button!] : 0;
}
