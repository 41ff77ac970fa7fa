/**
 * The hand: joint table, skeletons, coupling and forward kinematics. Pure: importing it starts nothing, and no
 * function here reads a clock or does I/O.
 */

export type { Steps } from '../steps.js';
export * from './closing.js';
export * from './coupling.js';
export * from './dofs.js';
export * from './fist.js';
export * from './fit-hand.js';
export * from './forward.js';
export * from './hand-model.js';
export type { JointPositions } from './joint-positions.js';
export * from './joints.js';
export * from './limits.js';
export * from './natural-motion.js';
export * from './pinch.js';
export * from './placement.js';
export {
  BREADTH_PER_LENGTH,
  BUCHHOLZ_FRACTIONS,
  DEFAULT_HAND_LENGTH_M,
  HAND_SURVEY,
} from './proportions.js';
export * from './skeleton.js';
export * from './validity.js';
