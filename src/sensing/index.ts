/** Counts to a healthy, calibrated, filtered hand. Pure: no I/O, no clock, nothing allocated a frame. */

export { type ChannelFinding, judgeCheck } from '../guide/check.js';
export { createGuidedRun, type GuidedRun } from '../guide/guided-run.js';
export type { Channel, ChannelKind } from './channels.js';
export type { Health } from './health/health.js';
export { type FaultKind, REMEDY, type Verdict, type VerdictKind } from './health/verdicts.js';
export { INPUT_POSE_STRIDE, INPUT_POSES, inputPosePaths, updateInputPoses } from './input-poses.js';
export { createInputs, type Inputs } from './inputs.js';
export { CONTROL, createSensing, type Sensing, type SensingOptions } from './sensing.js';
