import { DOFS_PER_FINGER, type DofArray, LITTLE_ARCH, RING_ARCH } from './dofs.js';
import { DOF_MAX } from './limits.js';

/** DIP flexion over PIP flexion (Rijpkema & Girard, Computer Graphics 25(4), 1991). */
export const DIP_PER_PIP = 2 / 3;

const ABDUCTION_AT_MCP_0 = (15 * Math.PI) / 180;
const MCP_WITHOUT_ABDUCTION = Math.PI / 2;
const ABDUCTION_PER_RAD = ABDUCTION_AT_MCP_0 / MCP_WITHOUT_ABDUCTION;

/** Index of `finger`'s first degree of freedom: MCP flexion, or CMC flexion of the thumb. */
const firstDof = (finger: number): number => finger * DOFS_PER_FINGER;

/** Sets a finger's DIP from its PIP. `finger` indexes FINGERS, 1 (index) to 4 (little). */
export function coupleDip(dofs: DofArray, finger: number): void {
  const dof = firstDof(finger);
  dofs[dof + 3] = DIP_PER_PIP * dofs[dof + 2];
}

/**
 * Greatest abduction to either side at an MCP flexion, radians: 15 degrees on a straight finger, falling evenly
 * to none at 90 degrees (Lin, Wu & Huang, Workshop on Human Motion, 2000).
 */
export function abductionLimit(mcpFlexion: number): number {
  if (mcpFlexion <= 0) return ABDUCTION_AT_MCP_0;
  if (mcpFlexion >= MCP_WITHOUT_ABDUCTION) return 0;
  return ABDUCTION_AT_MCP_0 - ABDUCTION_PER_RAD * mcpFlexion;
}

/** Brings a finger's abduction inside what its MCP flexion allows. The thumb is left alone. */
export function limitAbduction(dofs: DofArray, finger: number): void {
  if (finger === 0) return;
  const dof = firstDof(finger);
  const limit = abductionLimit(dofs[dof]);
  if (dofs[dof + 1] > limit) dofs[dof + 1] = limit;
  else if (dofs[dof + 1] < -limit) dofs[dof + 1] = -limit;
}

/**
 * Abduction of straight fingers pressed together, as a share of the range, in FINGERS order: neighbours touch and
 * the middle finger stays. Common practice; follows from the fan of the rest pose.
 */
const TOGETHER = [0, -0.5, 0, -0.5, -1] as const;
/** Abduction of straight fingers spread wide, as a share of the range. */
const APART = [0, 1, 0, 0.6, 1] as const;

/**
 * Sets a finger's abduction from splay: -1 fingers together, 0 at rest, 1 spread wide. The range narrows with the
 * MCP flexion already in `dofs`, so set flexion first.
 */
export function setSplay(dofs: DofArray, finger: number, splay: number): void {
  if (finger === 0) return;
  const dof = firstDof(finger);
  const share = splay >= 0 ? Math.min(splay, 1) * APART[finger] : Math.max(splay, -1) * -TOGETHER[finger];
  dofs[dof + 1] = share * abductionLimit(dofs[dof]);
}

/** Splay of all fingers from index to little. */
export function setHandSplay(dofs: DofArray, splay: number): void {
  for (let finger = 1; finger <= 4; finger++) setSplay(dofs, finger, splay);
}

/** Arch of the palm at full MCP flexion, as a share of its range: common practice. */
const ARCH_SHARE = 0.5;
const RING_ARCH_PER_RAD = (ARCH_SHARE * DOF_MAX[RING_ARCH]) / MCP_WITHOUT_ABDUCTION;
const LITTLE_ARCH_PER_RAD = (ARCH_SHARE * DOF_MAX[LITTLE_ARCH]) / MCP_WITHOUT_ABDUCTION;
const RING_MCP = firstDof(3);
const LITTLE_MCP = firstDof(4);

/** Arches the palm as ring and little close: each metacarpal follows its finger's MCP flexion. */
export function coupleArch(dofs: DofArray): void {
  dofs[RING_ARCH] = RING_ARCH_PER_RAD * bent(dofs[RING_MCP]);
  dofs[LITTLE_ARCH] = LITTLE_ARCH_PER_RAD * bent(dofs[LITTLE_MCP]);
}

/** coupleArch together with the rates of what it gives. */
export function coupleArchWithRates(dofs: DofArray, dofRates: DofArray): void {
  coupleArch(dofs);
  dofRates[RING_ARCH] = RING_ARCH_PER_RAD * (isBending(dofs[RING_MCP]) ? dofRates[RING_MCP] : 0);
  dofRates[LITTLE_ARCH] = LITTLE_ARCH_PER_RAD * (isBending(dofs[LITTLE_MCP]) ? dofRates[LITTLE_MCP] : 0);
}

const isBending = (mcpFlexion: number): boolean => mcpFlexion > 0 && mcpFlexion < MCP_WITHOUT_ABDUCTION;

function bent(mcpFlexion: number): number {
  if (mcpFlexion <= 0) return 0;
  return Math.min(mcpFlexion, MCP_WITHOUT_ABDUCTION);
}
