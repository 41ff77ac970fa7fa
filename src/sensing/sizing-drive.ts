import { createClosingProfile, setCurl } from '../hand/closing.js';
import { DOF_COUNT } from '../hand/dofs.js';
import { createPoses, forwardKinematics } from '../hand/forward.js';
import { FINGER_BASE, FINGER_JOINTS, FINGERS, POSE_STRIDE } from '../hand/joints.js';
import { createSkeleton } from '../hand/skeleton.js';
import { type FingerSizing, figure, type Part, round, type SizingInput } from './sizing-parts.js';

/** Servo and spool: how hard, how far, how fast, and what a fingertip feels of it. */

/** A fist as quick as most people make it, s. Common practice. */
const QUICK_FIST_S = 0.35;
/** A hobby servo is told its place 50 times a second: so long may pass before it hears. Common practice. */
const PULSE_PERIOD_S = 0.02;
/** Above this part of its swing there is no room for a larger hand and for slack. Common practice. */
const SWING_ROOM = 0.95;
const RAD = 180 / Math.PI;
const STEPS = 64;
const STANDARD_HAND_MM = 189;

/** @param widest the finger whose string travels farthest */
export function driveOf(input: SizingInput, index: FingerSizing, widest: FingerSizing): Part {
  const { servoTorqueNm, servoRadiusMm, maxTensionN, servoS60 } = input;
  const { excursionMm: excursion, swingDeg } = index;
  const stallTension = servoTorqueNm / (servoRadiusMm / 1000);
  const tension = Math.min(stallTension, maxTensionN);
  const turnRate = Math.PI / 3 / servoS60;
  const stringSpeed = turnRate * servoRadiusMm;
  const closingSpeed = stringSpeed / excursion;
  const arrival = PULSE_PERIOD_S + 0.5 / closingSpeed;
  const path = padPathMm(input.handLengthMm);
  const [low, high] = index.pulsesUs;
  const figures = [
    figure(
      'stallTension',
      'Tension at which the servo stalls',
      stallTension,
      'N',
      `torque / spool radius: ${servoTorqueNm} / ${servoRadiusMm / 1000}`,
    ),
    figure(
      'tension',
      'Tension at most, if it heeds effort',
      tension,
      'N',
      `the smaller of stall and cap: ${round(stallTension)} and ${maxTensionN}`,
    ),
    figure(
      'padForce',
      'What the finger pad feels of it, about',
      (tension * excursion) / path,
      'N',
      `virtual work, on average: tension x string / way of the tip: ${round(tension)} x ${round(excursion)} / ${round(path)}`,
    ),
    figure(
      'servoSwing',
      'Swing of the servo from open to closed',
      swingDeg,
      'deg',
      `travel / spool radius: ${round(excursion)} / ${servoRadiusMm} x 57.30, of ${input.servoSwingDeg}`,
    ),
    figure(
      'pulseLow',
      'Pulse at one end of that swing',
      low,
      'us',
      `middle - half the swing x us a degree: ${pulseFormula(input, swingDeg, '-')}`,
    ),
    figure(
      'pulseHigh',
      'Pulse at the other end',
      high,
      'us',
      `middle + half the swing x us a degree: ${pulseFormula(input, swingDeg, '+')}`,
    ),
    figure(
      'stringSpeed',
      'Fastest string at the servo',
      stringSpeed,
      'mm/s',
      `60 deg in ${servoS60} s x spool radius: ${round(turnRate)} rad/s x ${servoRadiusMm}`,
    ),
    figure(
      'closingSpeed',
      'Closing speed that it can keep ahead of',
      closingSpeed,
      'curl/s',
      `string speed / travel: ${round(stringSpeed)} / ${round(excursion)}, a fist in ${round(1 / closingSpeed)} s`,
    ),
    figure(
      'arrival',
      'A stop half the way off is there after',
      arrival * 1000,
      'ms',
      `a pulse period + half a curl / closing speed: ${PULSE_PERIOD_S * 1000} + 500 / ${round(closingSpeed)}`,
    ),
  ];
  return { figures, warnings: warningsOf(input, stallTension, closingSpeed, widest) };
}

function warningsOf(
  input: SizingInput,
  stallTension: number,
  closingSpeed: number,
  { finger, swingDeg, excursionMm }: FingerSizing,
): string[] {
  const warnings: string[] = [];
  const { servoSwingDeg, servoTorqueNm, maxTensionN } = input;
  if (swingDeg > SWING_ROOM * servoSwingDeg) {
    const radius = excursionMm / ((SWING_ROOM * servoSwingDeg) / RAD);
    const what = swingDeg > servoSwingDeg ? 'Swing' : 'Hardly any swing left';
    warnings.push(
      `${what}: the ${finger}'s string needs ${round(swingDeg)} degrees of the servo, which has ${servoSwingDeg}. Use a servo spool of ${round(Math.ceil(radius * 10) / 10)} mm radius or more.`,
    );
  }
  if (stallTension > maxTensionN) {
    warnings.push(
      `Tension: the servo can pull ${round(stallTension)} N, more than the cap of ${maxTensionN} N. A hobby servo holds with all it has, so the cap binds only servos that heed effort: use a spool of ${round((servoTorqueNm / maxTensionN) * 1000)} mm radius or a weaker servo.`,
    );
  }
  if (1 / closingSpeed > QUICK_FIST_S) {
    warnings.push(
      `Slow: a quick fist takes ${QUICK_FIST_S} s, the servo ${round(1 / closingSpeed)} s. Quick fingers pass a surface before it stops them; a faster servo or a larger spool helps.`,
    );
  }
  return warnings;
}

const pulseFormula = (
  { servoLowUs, servoHighUs, servoSwingDeg }: SizingInput,
  swingDeg: number,
  sign: string,
) =>
  `${(servoLowUs + servoHighUs) / 2} ${sign} ${round(Math.min(swingDeg, servoSwingDeg) / 2)} x ${round((servoHighUs - servoLowUs) / servoSwingDeg)}`;

/**
 * Way of the tip of the index finger while it closes, mm, along the closing profile. Friction apart, the work of the string
 * is that of the tip: tension x travel = force x way (virtual work).
 */
export function padPathMm(handLengthMm: number): number {
  const finger = FINGERS.indexOf('index');
  const skeleton = createSkeleton({ side: 'right', lengthM: STANDARD_HAND_MM / 1000 });
  const closing = createClosingProfile();
  const dofs = new Float64Array(DOF_COUNT);
  const poses = createPoses();
  const tip = (FINGER_BASE[finger] + FINGER_JOINTS[finger] - 1) * POSE_STRIDE;
  const last = new Float64Array(3);
  let path = 0;
  for (let step = 0; step <= STEPS; step++) {
    setCurl(closing, finger, step / STEPS, dofs);
    forwardKinematics(skeleton, dofs, poses);
    const at = poses.subarray(tip, tip + 3);
    if (step > 0) path += Math.hypot(at[0] - last[0], at[1] - last[1], at[2] - last[2]);
    last.set(at);
  }
  // All bones grow with the hand.
  return (path * 1000 * handLengthMm) / STANDARD_HAND_MM;
}
