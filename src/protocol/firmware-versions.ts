/**
 * The firmware's versions, once: what each brought. The last one is what comes with this program; `npm run generate`
 * writes it into the firmware. A change of `src/firmware` that a maker would want on the glove gets a new line here.
 */
export interface FirmwareVersion {
  /** Major * 256 + minor, as the hello says it. */
  version: number;
  /** What it brought over the one before, each a sentence. */
  brings: readonly string[];
}

export const FIRMWARE_VERSIONS: readonly FirmwareVersion[] = [
  { version: 0x0100, brings: ['The first.'] },
  {
    version: 0x0101,
    // Boards that were flashed from the sources before this table call themselves 1.0, whatever they have of it.
    brings: [
      'It frees the fingers when its own program hangs, and not only when the computer falls silent (some boards that call themselves 1.0 do so already).',
      'Its version says what it can do, so that the service can say what is new.',
    ],
  },
];
export const FIRMWARE_VERSION = FIRMWARE_VERSIONS[FIRMWARE_VERSIONS.length - 1].version;

/** `1.1` for 0x0101. */
export const firmwareText = (version: number): string => `${version >> 8}.${version & 0xff}`;

/**
 * - `unsaid`: it says no version, as a glove that sends text
 * - `own`: a version that was never ours: its maker's own firmware
 * - `old`, `current`
 * - `newer`: than what comes with this program, or its maker's own
 */
export const FIRMWARE_STATES = ['unsaid', 'own', 'old', 'current', 'newer'] as const;
export type FirmwareState = (typeof FIRMWARE_STATES)[number];

export interface FirmwareReport {
  state: FirmwareState;
  /** What the glove says, such as `1.0`; absent when it says nothing. */
  version?: string;
  /** What comes with this program. */
  ships: string;
  /** What an update would bring, oldest first; of `old` alone. */
  brings: string[];
}

/** @param said version in the hello; 0 and undefined: none */
export function firmwareReport(said: number | undefined): FirmwareReport {
  const ships = firmwareText(FIRMWARE_VERSION);
  if (!said) return { state: 'unsaid', ships, brings: [] };
  const version = firmwareText(said);
  const state =
    said > FIRMWARE_VERSION
      ? 'newer'
      : said === FIRMWARE_VERSION
        ? 'current'
        : FIRMWARE_VERSIONS.some((one) => one.version === said)
          ? 'old'
          : 'own';
  const brings =
    state === 'old' ? FIRMWARE_VERSIONS.filter((one) => one.version > said).flatMap((one) => one.brings) : [];
  return { state, version, ships, brings };
}

/** One line for people: what runs, and what there is to know about it. */
export function firmwareLine({ state, version, ships }: FirmwareReport): string {
  switch (state) {
    case 'unsaid':
      return `The glove does not say which firmware it runs; ${ships} comes with this program.`;
    case 'own':
      return `The glove runs firmware ${version}, which is none of ours: its maker knows what it does.`;
    case 'old':
      return `The glove runs firmware ${version}; ${ships} comes with this program.`;
    case 'current':
      return `The glove runs firmware ${version}, which is what comes with this program.`;
    case 'newer':
      return `The glove runs firmware ${version}, and ${ships} comes with this program: update the program, unless the firmware is its maker's own.`;
  }
}

export const HOW_TO_UPDATE = '`tautline firmware --help` says how.';
