/**
 * The degrees of freedom of a hand, all in radians, in one flat array.
 *
 * Flexion is positive towards the palm. Abduction is positive away from the middle finger's line for index,
 * ring and little; for the middle finger it is positive towards the thumb side; for the thumb (CMC) it is
 * positive away from the index metacarpal. Arch is flexion at the CMC of ring and little. Signs are the same
 * for both hands: mirroring belongs to the skeleton.
 */

export const DOF_NAMES = [
  'thumb.cmcFlexion',
  'thumb.cmcAbduction',
  'thumb.mcp',
  'thumb.ip',
  'index.mcp',
  'index.abduction',
  'index.pip',
  'index.dip',
  'middle.mcp',
  'middle.abduction',
  'middle.pip',
  'middle.dip',
  'ring.mcp',
  'ring.abduction',
  'ring.pip',
  'ring.dip',
  'little.mcp',
  'little.abduction',
  'little.pip',
  'little.dip',
  'ring.arch',
  'little.arch',
] as const;
export type DofName = (typeof DOF_NAMES)[number];

export const DOF_COUNT = DOF_NAMES.length;
/** Every finger has four degrees of freedom of its own, starting at 4 x its index in FINGERS. */
export const DOFS_PER_FINGER = 4;
export const RING_ARCH = 20;
export const LITTLE_ARCH = 21;

/** Radians, DOF_COUNT long. */
export type DofArray = Float64Array;
