import { DOF_COUNT, DOF_NAMES, type DofArray } from './dofs.js';

/** A range in degrees and where it comes from. Numbers are quoted from memory. */
export interface JointRange {
  readonly minDeg: number;
  readonly maxDeg: number;
  readonly source: string;
}

const AAOS = 'American Academy of Orthopaedic Surgeons, as tabulated in goniometry handbooks';
const LIN_WU_HUANG = 'Lin, Wu & Huang, Workshop on Human Motion, 2000';

/** Ranges of active motion, keyed by the joint part of a degree of freedom's name. */
export const JOINT_RANGES = {
  /** Extension beyond straight to 45 degrees. */
  mcp: { minDeg: -45, maxDeg: 90, source: AAOS },
  pip: { minDeg: 0, maxDeg: 100, source: AAOS },
  dip: { minDeg: 0, maxDeg: 90, source: AAOS },
  abduction: { minDeg: -20, maxDeg: 20, source: AAOS },
  thumbCmcFlexion: { minDeg: -20, maxDeg: 15, source: AAOS },
  thumbCmcAbduction: { minDeg: 0, maxDeg: 70, source: AAOS },
  thumbMcp: { minDeg: 0, maxDeg: 50, source: AAOS },
  thumbIp: { minDeg: -20, maxDeg: 80, source: AAOS },
  ringArch: { minDeg: 0, maxDeg: 10, source: 'common practice; no single source' },
  littleArch: { minDeg: 0, maxDeg: 20, source: 'common practice; no single source' },
} as const satisfies Record<string, JointRange>;

/**
 * What a sensor goes through between an open and a closed hand, where that is less than the range: an open hand has
 * straight fingers, and glove or palm keep them from spreading as far as they could.
 */
const SENSED_RANGES: Partial<Record<keyof typeof JOINT_RANGES, JointRange>> = {
  mcp: { minDeg: 0, maxDeg: 90, source: AAOS },
  abduction: { minDeg: -15, maxDeg: 15, source: LIN_WU_HUANG },
  thumbIp: { minDeg: 0, maxDeg: 80, source: AAOS },
};

const KEY_OF_DOF: Record<string, keyof typeof JOINT_RANGES> = {
  'thumb.cmcFlexion': 'thumbCmcFlexion',
  'thumb.cmcAbduction': 'thumbCmcAbduction',
  'thumb.mcp': 'thumbMcp',
  'thumb.ip': 'thumbIp',
  'ring.arch': 'ringArch',
  'little.arch': 'littleArch',
};

const keys = DOF_NAMES.map((name) => KEY_OF_DOF[name] ?? (name.split('.')[1] as keyof typeof JOINT_RANGES));
const ranges: readonly JointRange[] = keys.map((key) => JOINT_RANGES[key]);
const sensed: readonly JointRange[] = keys.map((key) => SENSED_RANGES[key] ?? JOINT_RANGES[key]);

/** Least and greatest value of each degree of freedom, radians, in DOF_NAMES order. */
export const DOF_MIN: Readonly<DofArray> = Float64Array.from(ranges, (r) => (r.minDeg * Math.PI) / 180);
export const DOF_MAX: Readonly<DofArray> = Float64Array.from(ranges, (r) => (r.maxDeg * Math.PI) / 180);

/** What a joint's own sensor means at 0 and at 1, radians, in DOF_NAMES order: within the range. */
export const DOF_SENSED_MIN: Readonly<DofArray> = Float64Array.from(
  sensed,
  (r) => (r.minDeg * Math.PI) / 180,
);
export const DOF_SENSED_MAX: Readonly<DofArray> = Float64Array.from(
  sensed,
  (r) => (r.maxDeg * Math.PI) / 180,
);

/** Brings every degree of freedom into its range, in place. */
export function clampDofs(dofs: DofArray): void {
  for (let i = 0; i < DOF_COUNT; i++) {
    if (dofs[i] < DOF_MIN[i]) dofs[i] = DOF_MIN[i];
    else if (dofs[i] > DOF_MAX[i]) dofs[i] = DOF_MAX[i];
  }
}
