import { execFile, execFileSync } from 'node:child_process';
import { mkdir } from 'node:fs/promises';
import { promisify } from 'node:util';
import { compileCpp } from '../compiled.js';

/** The ESP32 sketch, compiled for this computer against arduino-shim, on a stand-in for a board (arduino-shim/main.cpp). */

export const CXX = process.env.CXX ?? 'g++';
export const CORE = 'src/firmware/core';
export const SKETCH = 'src/firmware/esp32/tautline_glove/tautline_glove.ino';
export const SHIM = 'tests/firmware/arduino-shim';
const BUILD = 'src/firmware/build/esp32';
/** As the host firmware has it. */
const CORE_OBJECTS = ['frames', 'actuators', 'glove'].map((name) => `src/firmware/build/core/${name}.o`);

export interface BoardKind {
  /** Of the ESP32 core. */
  version: '2' | '3';
  link: 'LINK_SERIAL' | 'LINK_BLE';
}

export const BOARD_KINDS: BoardKind[] = [
  { version: '2', link: 'LINK_SERIAL' },
  { version: '3', link: 'LINK_SERIAL' },
  { version: '2', link: 'LINK_BLE' },
  { version: '3', link: 'LINK_BLE' },
];

/** For the compiler, the sketch and the stand-in alike. */
export const flagsOf = ({ version, link }: BoardKind): string[] => [
  `-DESP_ARDUINO_VERSION_MAJOR=${version}`,
  `-DGLOVE_LINK=${link}`,
  `-I${SHIM}`,
  `-I${CORE}`,
];

const built = new Map<string, Promise<string>>();

/** @returns the path of the program, which is built once */
export function buildBoard(kind: BoardKind): Promise<string> {
  const key = kind.version + kind.link;
  const program = built.get(key) ?? build(kind);
  built.set(key, program);
  return program;
}

async function build(kind: BoardKind): Promise<string> {
  const folder = `${BUILD}-${kind.version}-${kind.link}`;
  await mkdir(folder, { recursive: true });
  const compile = promisify(execFile);
  const object = async (name: string, args: string[]) => {
    compileCpp(['-c', ...flagsOf(kind), ...args], `${folder}/${name}.o`, CXX);
    return `${folder}/${name}.o`;
  };
  const link = kind.link === 'LINK_BLE' ? 'ble' : 'serial';
  const objects = await Promise.all([
    object('sketch', ['-std=c++11', '-x', 'c++', SKETCH]),
    ...['board', 'main', link].map((name) => object(name, ['-std=c++17', `${SHIM}/${name}.cpp`])),
  ]);
  const program = `${folder}/board`;
  await compile(CXX, ['-o', program, ...objects, ...CORE_OBJECTS, '-pthread']);
  return program;
}

export interface BoardEvent {
  us: number;
  what: string;
  values: string[];
}

/** Runs the sketch by these commands; what the board did, in order. */
export function runBoard(program: string, commands: readonly string[]): BoardEvent[] {
  const output = execFileSync(program, { input: `${commands.join('\n')}\n`, encoding: 'utf8' });
  return output
    .trim()
    .split('\n')
    .map((line) => {
      const [us, what, ...values] = line.split(' ');
      return { us: Number(us), what: what!, values };
    });
}
