import { spawn } from 'node:child_process';
import { createReadStream, type ReadStream } from 'node:fs';
import { mkdtemp, rm, stat } from 'node:fs/promises';
import { setPriority, tmpdir } from 'node:os';
import { join } from 'node:path';
import { TautlineError } from '../errors.js';
import { packageFile } from '../package-files.js';

/**
 * Long work on sessions is done by the command line in a process of its own, at lower priority: the service's loop
 * belongs to the gloves.
 */

export const EXPORT_FORMATS = ['csv', 'ndjson', 'glb'] as const;
export type ExportFormat = (typeof EXPORT_FORMATS)[number];

const MAIN = packageFile('dist/main.js');
/** After the gloves, but not starved on a busy machine. */
const NICENESS = 5;
/** Each may take a core. */
const MOST_AT_ONCE = 2;
let running = 0;

/** A session in another format; the file behind the stream is gone when the stream is closed. */
export async function exportSessionFile(
  path: string,
  format: ExportFormat,
): Promise<{ stream: ReadStream; bytes: number }> {
  const folder = await mkdtemp(join(tmpdir(), 'tautline-export-'));
  const forget = () => void rm(folder, { recursive: true, force: true }).catch(() => {});
  try {
    const output = join(folder, `session.${format}`);
    await runTool('export', path, '--to', format, '--output', output);
    const { size } = await stat(output);
    const stream = createReadStream(output);
    stream.once('close', forget);
    return { stream, bytes: size };
  } catch (error) {
    forget();
    throw error;
  }
}

/** What is in a session, as JSON. */
export const describeSessionFile = (path: string): Promise<string> => runTool('info', path, '--json');

async function runTool(...args: string[]): Promise<string> {
  if (running >= MOST_AT_ONCE) {
    throw new TautlineError('tooMany', 'Other sessions are being read; try again in a moment.');
  }
  running++;
  try {
    return await new Promise<string>((resolve, reject) => {
      const child = spawn(process.execPath, [MAIN, ...args], { stdio: ['ignore', 'pipe', 'pipe'] });
      let stdout = '';
      let stderr = '';
      child.stdout.setEncoding('utf8').on('data', (text: string) => {
        stdout += text;
      });
      child.stderr.setEncoding('utf8').on('data', (text: string) => {
        stderr += text;
      });
      child.once('spawn', () => {
        try {
          if (child.pid !== undefined) setPriority(child.pid, NICENESS);
        } catch {
          // Gone already, or not permitted: then others only wait longer.
        }
      });
      child.once('error', reject);
      child.once('close', (code) => {
        if (code === 0) resolve(stdout);
        else reject(new TautlineError('fileInvalid', stderr.trim().split('\n')[0] || 'It cannot be read.'));
      });
    });
  } finally {
    running--;
  }
}
