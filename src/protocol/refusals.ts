import type { ErrorCode } from '../errors.js';

/** Why what an app or a wearer asks for is not done, whoever refuses it. */
export interface Refusal {
  code: ErrorCode;
  /** One line: what, where and what to do. */
  message: string;
  /** JSON pointer to what is wrong in a message. */
  path?: string;
}

export const DISARMED: Refusal = {
  code: 'disarmed',
  message: 'The glove is disarmed; the wearer must arm it first.',
};

/** Said to every app that may not arm. @param howToArm words that complete "To arm: …" */
export const onlyTheWearer = (howToArm: string): Refusal => ({
  code: 'notPermitted',
  message: `Only the wearer arms. Wait until \`armed\` is true. To arm: ${howToArm}.`,
});

/** There is no such hand. @param hands those that there are */
export const noGloveFor = (hand: string | undefined, hands: readonly string[]): Refusal => ({
  code: 'unknownHand',
  message: `There is no glove for the ${hand ? `${hand} hand` : 'hand'}; the service has: ${hands.join(' and ') || 'none'}.`,
});

export const RECORDED: Refusal = {
  code: 'notSupported',
  message:
    'A recording or the simulated glove is shown in place of the glove: there is no hand in it to act on. Close the replay first.',
};
