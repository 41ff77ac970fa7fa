/** Facts of the stream that the browser needs too; imports nothing. */

export const STREAM_PROTOCOL = 1;
export const STREAM_PATH = '/stream';
export const SUBPROTOCOL_JSON = 'tautline.json.v1';
export const SUBPROTOCOL_BINARY = 'tautline.binary.v1';
/** Largest message taken from an app, bytes: a compound whose hulls have 512 points, with up to 17 digits each. */
export const MAX_APP_MESSAGE = 64 * 1024;

export const STREAMS = ['joints', 'inputs', 'resistance', 'health', 'signals', 'gestures'] as const;
export type StreamName = (typeof STREAMS)[number];

export const isStream = (name: string): name is StreamName => (STREAMS as readonly string[]).includes(name);

/** In the order of their codes in frames and binary records. */
export const FINGER_STATES = ['invalid', 'inferred', 'tracked'] as const;
export type FingerState = (typeof FINGER_STATES)[number];

/** What a hand may be doing; those of OpenXR's hand interaction (XR_EXT_hand_interaction) by their names there. */
export const GESTURES = ['pinch_ext', 'aim_activate_ext', 'grasp_ext', 'point', 'fist', 'flat'] as const;
export type GestureName = (typeof GESTURES)[number];

/** Codes of refusals that end by themselves: what is held is asked for again. After any other it will never be granted. */
export const PASSING_REFUSALS = ['disarmed', 'tryAgain'] as const;
