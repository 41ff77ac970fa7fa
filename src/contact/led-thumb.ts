import { CLOSING_STEPS, type ClosingProfile, setCurl } from '../hand/closing.js';
import { DOF_COUNT, DOFS_PER_FINGER, type DofArray } from '../hand/dofs.js';
import { FINGERS } from '../hand/joints.js';
import { guideThumb, type NaturalMotion } from '../hand/natural-motion.js';
import type { Skeleton } from '../hand/skeleton.js';
import { tabulateSpeeds } from './path-speeds.js';

/**
 * The way of a thumb that other fingers lead (hand/natural-motion.ts). As they close, it goes to meet them, so its way
 * is not that of its own curl: it is tabulated for where the others are, or will be when the thumb is stopped.
 */
export interface LedThumb {
  readonly skeleton: Skeleton;
  readonly profile: ClosingProfile;
  /** 5 × ROWS × DOFS_PER_FINGER angles, radians: the profile's, but for a thumb that is led. */
  readonly table: Float64Array;
  /** 5 × ROWS × (BONES + 1): greatest speed of each joint from that row on, by `table`, metres per curl. */
  readonly tableSpeed: Float64Array;
  /** Curls of the fingers that lead, for which `table` was made. */
  readonly leading: Float64Array;
  /** DOFS_PER_FINGER: how far the thumb's rows have turned at most since the beginning, radians. */
  readonly turned: Float64Array;
}

export const THUMB = 0;
/** Another finger that closes by less leads the thumb's tip by a tenth of a millimetre at most. */
const LEADS_FROM = 5e-4;
/** While others close the way is foreseen, roughly: most of a millimetre. */
const LEADS_ROUGHLY_FROM = 4e-3;

/** Rows that are worked out: those in between are laid straight, 0.7 mm off at most. */
const EVERY = 2;

// Working space of one call.
const dofs = new Float64Array(DOF_COUNT);
const leader = new Float64Array(FINGERS.length);
const most = new Float64Array(DOFS_PER_FINGER);

/** Sets the thumb's angles at a curl of its own, as other fingers lead it at theirs. */
export function setLedThumb(
  profile: ClosingProfile,
  guide: NaturalMotion,
  curl: number,
  curls: ArrayLike<number>,
  into: DofArray,
): void {
  setCurl(profile, THUMB, curl, into);
  guideThumb(guide, into, curls);
}

/**
 * Tabulates the thumb's way with the other fingers at these curls; nothing is done while they rest.
 * @param roughly they are where the fingers will be, not where they are
 */
export function leadThumb(
  thumb: LedThumb,
  guide: NaturalMotion,
  curls: ArrayLike<number>,
  roughly: boolean,
): void {
  const { skeleton, profile, table, tableSpeed, leading, turned } = thumb;
  let changed = 0;
  for (let finger = 1; finger < FINGERS.length; finger++) {
    changed = Math.max(changed, Math.abs(curls[finger] - leading[finger]));
  }
  // Written so that what is not a number leads nowhere.
  if (!(changed >= (roughly ? LEADS_ROUGHLY_FROM : LEADS_FROM))) return;
  for (let finger = 1; finger < FINGERS.length; finger++) leader[finger] = leading[finger] = curls[finger];
  most.fill(0);
  for (let row = 0; row <= CLOSING_STEPS; row += EVERY) {
    leader[THUMB] = row / CLOSING_STEPS;
    setLedThumb(profile, guide, leader[THUMB], leader, dofs);
    for (let dof = 0; dof < DOFS_PER_FINGER; dof++) {
      const at = row * DOFS_PER_FINGER + dof;
      const angle = dofs[dof];
      most[dof] = Math.max(most[dof], Math.abs(angle - table[at]));
      table[at] = angle;
      if (row > 0) table[at - DOFS_PER_FINGER] = 0.5 * (angle + table[at - EVERY * DOFS_PER_FINGER]);
    }
  }
  for (let dof = 0; dof < DOFS_PER_FINGER; dof++) turned[dof] += most[dof];
  tabulateSpeeds(skeleton, table, THUMB, tableSpeed, EVERY);
}
