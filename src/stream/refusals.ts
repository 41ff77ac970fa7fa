import type { Refusal } from '../protocol/refusals.js';

/** Reasons not to act on a message, whatever it asks for. */

export const OVERTAKEN: Refusal = {
  code: 'disarmed',
  message: 'It was sent before the disarm could be known here, so it does not count.',
};

export const STALE: Refusal = {
  code: 'tryAgain',
  message: 'The service is asked for more than it can do, and this waited too long. Ask again, less often.',
};

export const DOUBTED: Refusal = {
  code: 'tryAgain',
  message:
    'The connection went silent while it held fingers, so they were freed. Answer pings, then ask again.',
};

const BINARY: Refusal = { code: 'badJson', message: 'The message is binary; apps send JSON text.' };

export const notTaken = (count: number): Refusal => ({
  code: 'tryAgain',
  message: `The service is asked for more than it can do: ${count} of the messages were dropped.`,
});

export const tooMany = (messagesPerS: number): Refusal => ({
  code: 'tooMany',
  message: `More than ${messagesPerS} messages a second; this one was dropped.`,
});

export const tooLarge = (bytes: number, maxBytes: number): Refusal => ({
  code: 'tooLarge',
  message: `The message has ${bytes} bytes; ${maxBytes} are permitted.`,
});

/** What is wrong with a message, and whether it counted as a disarm because of the word in it. */
export const wrong = (complaint: Refusal = BINARY, heeded: boolean): Refusal =>
  heeded
    ? { ...complaint, message: `${complaint.message} It contains the word disarm: every hand is disarmed.` }
    : complaint;
