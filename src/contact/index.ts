/** Contact: shapes, distance, and where each finger first touches. Pure: no I/O, no clock. Start at touches.ts. */

export { type FingerContact, NO_STOP } from './solver.js';
export type { Touch, TouchContacts, TouchFault, TouchLimits, TouchRequest } from './touches.js';
export { createTouchContacts, LATE_BY, MAX_TOUCHES, Touches } from './touches.js';
