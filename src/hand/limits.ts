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
  mcp: { minDeg: 0, maxDeg: 90, source: AAOS },
  pip: { minDeg: 0, maxDeg: 100, source: AAOS },
  dip: { minDeg: 0, maxDeg: 90, source: AAOS },
  abduction: { minDeg: -15, maxDeg: 15, source: LIN_WU_HUANG },
  thumbCmcFlexion: { minDeg: -20, maxDeg: 15, source: AAOS },
  thumbCmcAbduction: { minDeg: 0, maxDeg: 70, source: AAOS },
  thumbMcp: { minDeg: 0, maxDeg: 50, source: AAOS },
  thumbIp: { minDeg: 0, maxDeg: 80, source: AAOS },
  ringArch: { minDeg: 0, maxDeg: 10, source: 'common practice; no single source' },
  littleArch: { minDeg: 0, maxDeg: 20, source: 'common practice; no single source' },
} as const satisfies Record<string, JointRange>;

const RANGE_OF_DOF: Record<string, JointRange> = {
  'thumb.cmcFlexion': JOINT_RANGES.thumbCmcFlexion,
  'thumb.cmcAbduction': JOINT_RANGES.thumbCmcAbduction,
  'thumb.mcp': JOINT_RANGES.thumbMcp,
  'thumb.ip': JOINT_RANGES.thumbIp,
  'ring.arch': JOINT_RANGES.ringArch,
  'little.arch': JOINT_RANGES.littleArch,
};

const ranges: readonly JointRange[] = DOF_NAMES.map(
  (name) => RANGE_OF_DOF[name] ?? JOINT_RANGES[name.split('.')[1] as 'mcp' | 'pip' | 'dip' | 'abduction'],
);

/** Least and greatest value of each degree of freedom, radians, in DOF_NAMES order. */
export const DOF_MIN: Readonly<DofArray> = Float64Array.from(ranges, (r) => (r.minDeg * Math.PI) / 180);
export const DOF_MAX: Readonly<DofArray> = Float64Array.from(ranges, (r) => (r.maxDeg * Math.PI) / 180);

/** Brings every degree of freedom into its range, in place. */
export function clampDofs(dofs: DofArray): void {
  for (let i = 0; i < DOF_COUNT; i++) {
    if (dofs[i] < DOF_MIN[i]) dofs[i] = DOF_MIN[i];
    else if (dofs[i] > DOF_MAX[i]) dofs[i] = DOF_MAX[i];
  }
}
