/** Codes of the library itself; the service's own codes come through as they are. */
export const CLIENT_ERROR_CODES = {
  notConnected: 'There is no connection now; nothing was sent.',
  connectionLost: 'The connection ended before the answer came.',
  noAnswer: 'The service did not answer in time.',
  closed: 'The client was closed.',
  pageHidden: 'The page is hidden; what it holds is released until it is shown again.',
  badAnswer: 'What came from the service is not a message of this protocol.',
  noWebSocket: 'This runtime has no WebSocket and the package ws is not installed.',
} as const;
export type ClientErrorCode = keyof typeof CLIENT_ERROR_CODES;

/** A refused request or a failed connection: a code for the program and one line for people. */
export class ClientError extends Error {
  override readonly name = 'ClientError';
  /**
   * @param code the service's code (`disarmed`, `unknownHand`, `badMessage`, …) or one of ClientErrorCode
   * @param message one line: what, where and what to do
   * @param path JSON pointer to what is wrong in the request, if the service named it
   */
  constructor(
    readonly code: ClientErrorCode | (string & {}),
    message: string,
    readonly path?: string,
  ) {
    super(message);
  }
}
