import { DISARMED, type Refusal } from '../protocol/refusals.js';

/** Room for the most connections that a profile permits by default, with a few layers each. */
export const MAX_APPS = 64;
export const MAX_LAYERS = 8;

/** Why a request or a pulse of an app is refused. */
export const REFUSALS = {
  disarmed: DISARMED,
  notConnected: { code: 'notSupported', message: 'The glove is not connected or sends no fresh samples.' },
  notANumber: { code: 'badMessage', message: 'A stop, effort or pulse is not a finite number.' },
  tooManyApps: { code: 'tooMany', message: `At most ${MAX_APPS} apps can hold a glove at once.` },
  tooManyLayers: { code: 'tooMany', message: `At most ${MAX_LAYERS} layers an app; release one first.` },
  tooManyPulses: { code: 'tooMany', message: 'More pulses than the actuator may give; ask less often.' },
  fitting: { code: 'notSupported', message: 'The stops are being fitted; no app is served meanwhile.' },
  trying: {
    code: 'notSupported',
    message: 'The wearer tries how forces feel; no app is served meanwhile.',
  },
  nothingToPulse: { code: 'notSupported', message: 'The glove has nothing there that can pulse.' },
  notHeld: {
    code: 'notSupported',
    message: 'Without a vibration motor, only a finger that is firmly held can pulse.',
  },
} as const satisfies Record<string, Refusal>;
