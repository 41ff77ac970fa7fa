import { cpSync, existsSync, mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { TautlineError } from '../errors.js';
import type { HandSide } from '../hand/joints.js';
import { packageFile } from '../package-files.js';

/**
 * The maker's copy of the firmware: its own folder, because `pins.h` in it says what his glove is. An update replaces
 * everything else.
 */
export type Board = 'esp32' | 'avr';
export const BOARDS: readonly Board[] = ['esp32', 'avr'];

/** What is copied, from where in the package to where in the folder. The first holds `pins.h`. */
const PARTS: Record<Board, readonly (readonly [from: string, to: string])[]> = {
  // The names that the board's own tools want: a sketch's folder is called as the sketch, a library's as the library.
  esp32: [
    ['src/firmware/esp32/tautline_glove', 'tautline_glove'],
    ['src/firmware/core', 'TautlineGlove'],
  ],
  avr: [
    ['src/firmware/avr', 'avr'],
    ['src/firmware/core', 'core'],
  ],
};
const PINS = 'pins.h';

export interface FirmwareFolder {
  board: Board;
  /** Folder of the sketch, or of the Makefile. */
  sketch: string;
  library: string;
  /** As the sources say it; undefined where they do not. */
  version?: number;
  /** What pins.h says. */
  hand?: HandSide;
  baud?: number;
  /** It has no cable, so nothing is read back from a port. */
  wireless: boolean;
}

/**
 * Writes or updates the copy.
 * @param hand of a new `pins.h`; one that is there stays as it is
 * @returns whether `pins.h` was there already
 * @throws TautlineError fileDenied
 */
export function writeFirmware(folder: string, board: Board, hand: HandSide | undefined): { kept: boolean } {
  const pins = join(folder, PARTS[board][0][1], PINS);
  const kept = existsSync(pins);
  try {
    for (const [from, to] of PARTS[board]) {
      const source = packageFile(from);
      const target = join(folder, to);
      mkdirSync(target, { recursive: true });
      for (const name of readdirSync(source)) {
        if (name !== PINS || !kept) cpSync(join(source, name), join(target, name), { recursive: true });
      }
    }
    if (!kept && hand === 'left') {
      const text = readFileSync(pins, 'utf8');
      writeFileSync(
        pins,
        text
          .replace('HAND = hand::right', 'HAND = hand::left')
          .replace('"Tautline right"', '"Tautline left"'),
      );
    }
  } catch (error) {
    const { code } = error as NodeJS.ErrnoException;
    throw new TautlineError(
      'fileDenied',
      `${folder}: it cannot be written (${code}).`,
      'Name another folder.',
    );
  }
  return { kept };
}

/** @throws TautlineError fileNotFound where there is no copy */
export function readFirmware(folder: string): FirmwareFolder {
  const board = BOARDS.find((one) => existsSync(join(folder, PARTS[one][0][1], PINS)));
  if (!board) {
    throw new TautlineError(
      'fileNotFound',
      `${folder}: no firmware is there.`,
      'Write it with `tautline firmware write`, then set its pins.h.',
    );
  }
  const [sketch, library] = PARTS[board].map(([, to]) => join(folder, to));
  const pins = textOf(join(sketch, PINS)).replace(/\/\/.*/g, '');
  const version = /kFirmwareVersion = (0x[0-9a-f]+);/i.exec(textOf(join(library, 'protocol_table.h')))?.[1];
  const hand = /HAND = hand::(left|right)/.exec(pins)?.[1] as HandSide | undefined;
  const baud = /\bBAUD = (\d+)/.exec(pins)?.[1];
  return {
    board,
    sketch,
    library,
    ...(version === undefined ? {} : { version: Number(version) }),
    ...(hand === undefined ? {} : { hand }),
    ...(baud === undefined ? {} : { baud: Number(baud) }),
    wireless: /#define\s+GLOVE_LINK\s+LINK_BLE/.test(pins),
  };
}

function textOf(path: string): string {
  try {
    return readFileSync(path, 'utf8');
  } catch {
    return '';
  }
}
