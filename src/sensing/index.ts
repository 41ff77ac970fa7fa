/** Counts to a healthy, calibrated, filtered hand. Pure: no I/O, no clock, nothing allocated a frame. */
export type { Channel, ChannelKind } from './channels.js';
export { type ChannelFinding, judgeCheck } from './guided-check.js';
export { createGuidedRun, type GuidedRun } from './guided-run.js';
export type { Health } from './health.js';
export { INPUT_POSE_STRIDE, INPUT_POSES, inputPosePaths, updateInputPoses } from './input-poses.js';
export { createInputs, type Inputs } from './inputs.js';
export { CONTROL, createSensing, type Sensing, type SensingOptions } from './sensing.js';
export { type FaultKind, REMEDY, type Verdict, type VerdictKind } from './verdicts.js';
