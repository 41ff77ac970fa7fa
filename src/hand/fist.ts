import { atOnce, type Steps } from '../steps.js';
import { boneGap } from './bone-gap.js';
import {
  type ClosingCurves,
  createClosingProfile,
  DEFAULT_CLOSING,
  type FingerClosing,
  setCurl,
} from './closing.js';
import { coupleArch } from './coupling.js';
import { DOF_COUNT } from './dofs.js';
import { createPoses, forwardKinematics } from './forward.js';
import { FINGER_BASE, FINGERS } from './joints.js';
import { CHAIN_START, type Skeleton } from './skeleton.js';

/** Skin to skin between a closed finger and the palm, metres, at least. */
const PALM_GAP_M = 0.0003;
/** No hand closes less than to this share of the curves. */
const LEAST_SHARE = 0.5;
const STEPS = 16;
const METACARPALS = FINGER_BASE.slice(1);

/**
 * Closing curves for a hand with bones of its own: each finger's flexion scaled down, as far as needed, so that at
 * curl 1 it rests on the palm instead of inside it. Curves that fit already come back unchanged.
 */
export const closingToPalm = (skeleton: Skeleton, curves: ClosingCurves = DEFAULT_CLOSING): ClosingCurves =>
  atOnce(closingSteps(skeleton, curves));

/** closingToPalm in steps of a millisecond or so. */
export function* closingSteps(skeleton: Skeleton, curves: ClosingCurves): Steps<ClosingCurves> {
  const fitted: { -readonly [name in keyof ClosingCurves]: ClosingCurves[name] } = { ...curves };
  for (const [finger, name] of FINGERS.entries()) {
    if (name === 'thumb') continue;
    const clear = (share: number) =>
      clearsPalm(skeleton, { ...curves, [name]: scaled(curves[name], share) }, finger);
    yield;
    if (clear(1)) continue;
    let low = LEAST_SHARE;
    let high = 1;
    for (let i = 0; i < 10; i++) {
      yield;
      const share = (low + high) / 2;
      if (clear(share)) low = share;
      else high = share;
    }
    fitted[name] = scaled(curves[name], low);
  }
  return fitted;
}

function scaled(closing: FingerClosing, share: number): FingerClosing {
  const by = (angles: readonly number[]) => angles.map((angle) => angle * share);
  const { curl, mcp, pip, dip } = closing;
  return dip ? { curl, mcp: by(mcp), pip: by(pip), dip: by(dip) } : { curl, mcp: by(mcp), pip: by(pip) };
}

/** Whether middle and distal phalanx stay outside the palm, the other fingers open or closing along. */
function clearsPalm(skeleton: Skeleton, curves: ClosingCurves, finger: number): boolean {
  const profile = createClosingProfile(curves);
  const dofs = new Float64Array(DOF_COUNT);
  const poses = createPoses();
  const start = CHAIN_START[finger];
  for (const others of ['open', 'closing', 'closed'] as const) {
    for (let step = STEPS / 2; step <= STEPS; step++) {
      const curl = step / STEPS;
      const othersCurl = others === 'open' ? 0 : others === 'closing' ? curl : 1;
      for (let f = 1; f < FINGERS.length; f++) setCurl(profile, f, f === finger ? curl : othersCurl, dofs);
      coupleArch(dofs);
      forwardKinematics(skeleton, dofs, poses);
      for (const bone of [start + 1, start + 2]) {
        for (const metacarpal of METACARPALS) {
          if (boneGap(poses, bone, metacarpal) < PALM_GAP_M) return false;
        }
      }
    }
  }
  return true;
}
