/**
 * Every error that a user or an app can cause, in one place: a stable code and what to do about it.
 * The message says what and where; `remedy` says what to do. No stack trace reaches a user.
 */

export const ERROR_CODES = {
  profileNotFound: 'The profile file does not exist.',
  profileInvalid: 'The profile breaks a rule of its schema.',
  portMissing: 'The serial port does not exist, or the Bluetooth glove is not there.',
  portBusy: 'Another program holds the serial port.',
  portDenied: 'No permission to open the serial port.',
  portFailed: 'The serial port or the Bluetooth connection failed.',
  bluetoothUnavailable: 'Bluetooth cannot be used on this system.',
  addressInUse: 'Another program listens on the address.',
  addressNotAllowed: 'The address may not be listened on.',
  fileNotFound: 'The file does not exist.',
  fileDenied: 'No permission to read or write the file.',
  fileInvalid: 'The file is not what it should be.',
  diskFull: 'The disk is full.',
  badJson: 'The message is not JSON.',
  badMessage: 'The message breaks a rule of its schema.',
  unknownType: 'The message has an unknown type.',
  tooLarge: 'The message is larger than permitted.',
  tooMany: 'More of something than permitted.',
  tryAgain: 'It cannot be done at this moment; ask again.',
  unknownHand: 'No glove for that hand.',
  disarmed: 'The glove is disarmed: no force until the wearer arms it.',
  notSupported: 'The glove or service cannot do that.',
  notPermitted: 'The app or origin may not do that.',
  serviceUnreachable: 'No service answers at the address.',
  usage: 'The command line is wrong.',
  internal: 'A fault in the program.',
} as const;
export type ErrorCode = keyof typeof ERROR_CODES;

/** Exit codes of the command line: 0 well, 1 a failed check, 2 usage, then one for each kind of trouble. */
export const EXIT_CODE: Partial<Record<ErrorCode, number>> & {
  ok: 0;
  failed: 1;
  usage: 2;
  internal: 70;
  interrupted: 130;
} = {
  ok: 0,
  failed: 1,
  usage: 2,
  profileNotFound: 3,
  profileInvalid: 3,
  portMissing: 4,
  portBusy: 4,
  portDenied: 4,
  portFailed: 4,
  bluetoothUnavailable: 4,
  addressInUse: 5,
  addressNotAllowed: 5,
  fileNotFound: 6,
  fileDenied: 6,
  fileInvalid: 6,
  diskFull: 6,
  serviceUnreachable: 7,
  internal: 70,
  interrupted: 130,
};

export class TautlineError extends Error {
  override readonly name = 'TautlineError';
  readonly details: readonly string[];
  /**
   * @param code stable code from ERROR_CODES
   * @param message one line: what, and where (file:line:column, port, address, message path)
   * @param remedy one line: what the user can do, if anything is known
   * @param options.details one line each: further troubles of the same kind, for a file that has several
   */
  constructor(
    readonly code: ErrorCode,
    message: string,
    readonly remedy?: string,
    options: { cause?: unknown; details?: readonly string[] } = {},
  ) {
    super(message, { cause: options.cause });
    this.details = options.details ?? [];
  }

  /** The one line that a user sees. */
  get line(): string {
    return this.remedy ? `${this.message} ${this.remedy}` : this.message;
  }
}
