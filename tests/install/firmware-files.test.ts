import { existsSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, describe, expect, it } from 'vitest';
import { findBoardTool } from '../../src/install/board-tool.js';
import { readFirmware, writeFirmware } from '../../src/install/firmware-files.js';
import { FIRMWARE_VERSION } from '../../src/protocol/firmware-versions.js';

const folders: string[] = [];
afterEach(() => {
  for (const folder of folders.splice(0)) rmSync(folder, { recursive: true, force: true });
});
function folder(): string {
  const made = mkdtempSync(join(tmpdir(), 'tautline-firmware-'));
  folders.push(made);
  return made;
}

describe("a maker's copy of the firmware", () => {
  it('has everything that the board package wants, for the hand that was named', () => {
    const at = folder();
    expect(writeFirmware(at, 'esp32', 'left')).toEqual({ kept: false });
    expect(readFirmware(at)).toEqual({
      board: 'esp32',
      sketch: join(at, 'tautline_glove'),
      library: join(at, 'TautlineGlove'),
      version: FIRMWARE_VERSION,
      hand: 'left',
      baud: 115200,
      wireless: false,
    });
    expect(readFileSync(join(at, 'tautline_glove/pins.h'), 'utf8')).toContain(
      '#define BLE_NAME "Tautline left"',
    );
    expect(readdirSync(join(at, 'tautline_glove'))).toContain('tautline_glove.ino');
    expect(existsSync(join(at, 'TautlineGlove/library.properties'))).toBe(true);
  });

  it('is brought up to date with its pins.h as it was', () => {
    const at = folder();
    writeFirmware(at, 'esp32', undefined);
    const [pins, sketch] = ['pins.h', 'tautline_glove.ino'].map((name) => join(at, 'tautline_glove', name));
    const table = join(at, 'TautlineGlove/protocol_table.h');
    const own = `${readFileSync(pins, 'utf8').replace('2000, 1100, 900', '1900, 1200, 1000')}// mine\n`;
    writeFileSync(pins, own);
    writeFileSync(sketch, '// old');
    writeFileSync(
      table,
      readFileSync(table, 'utf8').replace(/kFirmwareVersion = 0x\w+/, 'kFirmwareVersion = 0x0100'),
    );
    expect(readFirmware(at).version).toBe(0x0100);
    expect(writeFirmware(at, 'esp32', 'left')).toEqual({ kept: true });
    expect(readFileSync(pins, 'utf8')).toBe(own);
    expect(readFileSync(sketch, 'utf8')).toContain('kFirmwareVersion');
    expect(readFirmware(at)).toMatchObject({ version: FIRMWARE_VERSION, hand: 'right' });
  });

  it('for the ATmega328P compiles where it stands', () => {
    const at = folder();
    writeFirmware(at, 'avr', undefined);
    const { board, sketch, library } = readFirmware(at);
    expect(board).toBe('avr');
    const makefile = readFileSync(join(sketch, 'Makefile'), 'utf8');
    expect(makefile).toContain('../core/%.cpp');
    expect(library).toBe(join(at, 'core'));
  });

  it('is missed in one line', () => {
    expect(() => readFirmware(folder())).toThrow(/no firmware is there/);
  });
});

it('looks for the tool on the search path alone, and says what to do without it', () => {
  expect(() => findBoardTool(folder())).toThrow(/arduino-cli is not installed/);
  if (process.platform === 'win32') return;
  const at = folder();
  writeFileSync(join(at, 'arduino-cli'), '', { mode: 0o644 });
  // A file that nobody may run is no tool.
  expect(() => findBoardTool(at)).toThrow(/not installed/);
  const other = folder();
  writeFileSync(join(other, 'arduino-cli'), '', { mode: 0o755 });
  expect(findBoardTool(`${at}:${other}`)).toBe(join(other, 'arduino-cli'));
});
