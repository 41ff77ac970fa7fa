import type { FaultName } from './link-table.js';

/**
 * What a glove says of itself, in words. A board whose program hung lets go by itself as one does that heard nothing, and
 * sets the same bit.
 */
const FAULT_TEXT: Record<FaultName, string> = {
  supplyLow: 'its supply is low',
  overTemperature: 'it is too warm',
  actuatorFault: 'an actuator does not work',
  converterFault: 'its converter does not work',
  watchdogRelease:
    'it freed the fingers by itself: it heard nothing from the service, or its own program hung',
};

/** `supplyLow` -> `its supply is low`; one that is not known stays as it is. */
export const faultText = (fault: string): string =>
  Object.hasOwn(FAULT_TEXT, fault) ? FAULT_TEXT[fault as FaultName] : fault;

/** The list, for documents. */
export const FAULTS_IN_WORDS = Object.entries(FAULT_TEXT)
  .map(([name, text]) => `${name} (${text})`)
  .join(', ');
