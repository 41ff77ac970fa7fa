import { spawn } from 'node:child_process';
import { accessSync, constants } from 'node:fs';
import { delimiter, join } from 'node:path';
import { TautlineError } from '../errors.js';

/** The board makers' own command line tool, if the maker has installed it: nothing is fetched here. */
export const BOARD_TOOL = 'arduino-cli';

/** Its file on the search path. @throws TautlineError notSupported */
export function findBoardTool(path = process.env.PATH ?? ''): string {
  const name = process.platform === 'win32' ? `${BOARD_TOOL}.exe` : BOARD_TOOL;
  for (const folder of path.split(delimiter).filter((one) => one !== '')) {
    const file = join(folder, name);
    try {
      accessSync(file, constants.X_OK);
      return file;
    } catch {
      // It is further on, or not at all.
    }
  }
  throw new TautlineError(
    'notSupported',
    `${BOARD_TOOL} is not installed, and it is what writes to the board.`,
    'Install it, or open the sketch in the Arduino IDE and upload it there; see docs/firmware.md.',
  );
}

// What each means, by the tool's own service definition (cc.arduino.cli.commands.v1: CompileRequest.fqbn, library "paths to
// single libraries root directory", sketch_path; UploadRequest.fqbn, port, sketch_path). How the options of the command line
// are written is from memory: the tool could not be had where this was written, and the commands are shown before they run.
export const compileArgs = (fqbn: string, library: string, sketch: string): string[] => [
  'compile',
  '--fqbn',
  fqbn,
  '--library',
  library,
  sketch,
];
export const uploadArgs = (fqbn: string, port: string, sketch: string): string[] => [
  'upload',
  '--fqbn',
  fqbn,
  '--port',
  port,
  sketch,
];

/** Runs it, its lines on our stderr. @throws TautlineError notSupported */
export async function runBoardTool(file: string, args: readonly string[]): Promise<void> {
  const code = await new Promise<number | string>((resolve) => {
    // Nothing that it asks is answered by accident.
    const child = spawn(file, args, { stdio: ['ignore', process.stderr, process.stderr] });
    child.once('error', ({ message }) => resolve(message));
    child.once('exit', (status, signal) => resolve(status ?? String(signal)));
  });
  if (code === 0) return;
  const [step] = args;
  throw new TautlineError(
    'notSupported',
    `${BOARD_TOOL} ${step} ended with ${code}; its lines above say why.`,
    step === 'compile'
      ? `A board package that is missing: ${BOARD_TOOL} core install esp32:esp32. A name that pins.h lacks: take it from the new one.`
      : "See that nothing else has the port, and hold the board's BOOT button while it connects if it has one.",
  );
}
