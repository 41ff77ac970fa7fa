import { type ClosingProfile, curlOf, setCurl } from '../hand/closing.js';
import { abductionLimit, coupleArch, coupleDip, DIP_PER_PIP, setSplay } from '../hand/coupling.js';
import { DOF_COUNT, DOFS_PER_FINGER, type DofArray, LITTLE_ARCH, RING_ARCH } from '../hand/dofs.js';
import { FINGERS } from '../hand/joints.js';
import { DOF_SENSED_MAX, DOF_SENSED_MIN } from '../hand/limits.js';
import { guideThumb, type NaturalMotion } from '../hand/natural-motion.js';
import type { Slots } from './slots.js';

/** From the values of channels to the degrees of freedom: what no sensor tells follows from what the others say. */
export interface Bending {
  /** Curl per finger: 0 open, 1 closed, up to 0.04 beyond. */
  readonly curl: Float64Array;
  /** Splay per finger: -1 together, 0 at rest, 1 spread wide. */
  readonly splay: Float64Array;
  /** Radians, within the joints' ranges. */
  readonly dofs: DofArray;
  /** How other fingers lead the thumb; undefined: its joints are sensed, it goes its own way. */
  readonly guide: NaturalMotion | undefined;
  update(): void;
}

/**
 * @param values of every channel, and behind them of the fingers without a sensor of their flexion (fallbacks.ts)
 * @param channelCount number of channels
 * @param natural how the hand moves as a whole; absent: joint by joint
 */
export function createBending(
  values: Float64Array,
  channelCount: number,
  slots: Slots,
  closing: ClosingProfile,
  natural: NaturalMotion | undefined,
): Bending {
  const { curl: curlSlot, splay: splaySlot, joint: jointSlot, arch: archSlot, hasJoints } = slots;
  const curl = new Float64Array(FINGERS.length);
  const splay = new Float64Array(FINGERS.length);
  const dofs = new Float64Array(DOF_COUNT);
  // A thumb or palm that is sensed joint by joint is shown as it is.
  const guide = hasJoints[0] === 0 && archSlot < 0 ? natural : undefined;

  function meanOfJoints(f: number): number {
    let sum = 0;
    let used = 0;
    for (let part = 0; part < 4; part++) {
      const j = jointSlot[f * 4 + part];
      if (j < 0) continue;
      sum += values[j];
      used++;
    }
    return sum / used;
  }

  /** A sensor for some joints: the others follow by the closing profile, DIP and PIP by their coupling. */
  function bendByJoints(f: number): void {
    const c = curlSlot[f];
    setCurl(closing, f, c >= 0 ? values[c] : meanOfJoints(f), dofs);
    const base = f * DOFS_PER_FINGER;
    const proximal = jointSlot[base];
    const middle = jointSlot[base + 2];
    const distal = jointSlot[base + 3];
    if (proximal >= 0) dofs[base] = angleOf(base, values[proximal]);
    if (middle >= 0) dofs[base + 2] = angleOf(base + 2, values[middle]);
    if (distal >= 0) dofs[base + 3] = angleOf(base + 3, values[distal]);
    if (f === 0) return;
    if (distal < 0 && middle >= 0) coupleDip(dofs, f);
    else if (distal >= 0 && middle < 0) {
      dofs[base + 2] = Math.min(dofs[base + 3] / DIP_PER_PIP, DOF_SENSED_MAX[base + 2]);
    }
  }

  return {
    curl,
    splay,
    dofs,
    guide,
    update() {
      for (let f = 0; f < curl.length; f++) {
        const c = curlSlot[f];
        if (hasJoints[f] !== 0) {
          bendByJoints(f);
          curl[f] = c >= 0 ? values[c] : curlOf(closing, f, dofs);
        } else {
          const value = values[c >= 0 ? c : channelCount + f];
          curl[f] = value;
          setCurl(closing, f, value, dofs);
        }
        const s = splaySlot[f];
        // Without a sensor it stays at rest.
        if (s < 0) continue;
        const spread = values[s];
        splay[f] = spread;
        if (f === 0) {
          dofs[1] = angleOf(1, (spread + 1) / 2);
        } else if (f === 2) {
          // The middle finger is the line that the others spread from, but a sensor may still see it lean.
          dofs[f * DOFS_PER_FINGER + 1] = clamp(spread, -1, 1) * abductionLimit(dofs[f * DOFS_PER_FINGER]);
        } else {
          setSplay(dofs, f, spread);
        }
      }
      if (archSlot >= 0) {
        dofs[RING_ARCH] = angleOf(RING_ARCH, values[archSlot]);
        dofs[LITTLE_ARCH] = angleOf(LITTLE_ARCH, values[archSlot]);
      } else if (guide) {
        // What naturalMotion does, but for softening the ends of ranges: nothing here leaves them.
        guideThumb(guide, dofs, curl);
        coupleArch(dofs);
      } else {
        coupleArch(dofs);
      }
    },
  };
}

const clamp = (x: number, low: number, high: number): number => Math.min(Math.max(x, low), high);

/** Angle of a degree of freedom at a part 0..1 of its range. */
function angleOf(dof: number, part: number): number {
  return DOF_SENSED_MIN[dof] + clamp(part, 0, 1) * (DOF_SENSED_MAX[dof] - DOF_SENSED_MIN[dof]);
}
