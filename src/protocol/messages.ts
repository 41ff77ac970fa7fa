/**
 * The stream's messages, once: types, validation, JSON Schemas and the AsyncAPI document come from here.
 * Lengths in metres, angles in radians, times in µs of the service's monotonic clock.
 */

export * from './app-messages.js';
export * from './constants.js';
export { HandSchema } from './message-parts.js';
export * from './server-messages.js';
