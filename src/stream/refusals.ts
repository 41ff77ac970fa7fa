import type { Refusal } from '../protocol/refusals.js';

/** Why a message is not acted on, whatever it asks for. */

export const OVERTAKEN: Refusal = {
  code: 'disarmed',
  message: 'It was sent before the disarm could be known here, so it does not count.',
};

export const STALE: Refusal = {
  code: 'tryAgain',
  message: 'More is asked than the service gets done, and this waited for too long. Ask again, less often.',
};

export const DOUBTED: Refusal = {
  code: 'tryAgain',
  message: 'The connection was silent while it held fingers, and they are free. Answer pings, and ask again.',
};

const BINARY: Refusal = { code: 'badJson', message: 'The message is binary; apps send JSON text.' };

export const notTaken = (count: number): Refusal => ({
  code: 'tryAgain',
  message: `More is asked than the service gets done: ${count} of the messages were not taken.`,
});

export const tooMany = (messagesPerS: number): Refusal => ({
  code: 'tooMany',
  message: `More than ${messagesPerS} messages a second; this one was not taken.`,
});

export const tooLarge = (bytes: number, maxBytes: number): Refusal => ({
  code: 'tooLarge',
  message: `The message has ${bytes} bytes; ${maxBytes} are permitted.`,
});

/** What is wrong with a message, and whether it was taken as a disarm for the word in it. */
export const wrong = (complaint: Refusal = BINARY, heeded: boolean): Refusal =>
  heeded
    ? { ...complaint, message: `${complaint.message} The word disarm stands in it: every hand is disarmed.` }
    : complaint;
