import { execFile } from 'node:child_process';
import { open } from 'node:fs/promises';
import { promisify } from 'node:util';
import { UNIT_NAME } from '../install/plan.js';

/** An event of the log, without anything that identifies. */
export interface LogEvent {
  time?: string;
  level?: number;
  /** Name of the event, or the message if it consists of plain words; otherwise `other`. */
  event: string;
}

const TAIL_BYTES = 256 * 1024;

/** @param lines JSON lines of the service's log, oldest first */
export function eventsOf(lines: readonly string[], most: number): LogEvent[] {
  const events: LogEvent[] = [];
  for (const line of lines) {
    let entry: Record<string, unknown>;
    try {
      entry = JSON.parse(line);
    } catch {
      continue;
    }
    if (typeof entry !== 'object' || entry === null) continue;
    const { time, level, event, msg } = entry;
    events.push({
      ...(typeof time === 'string' && /^[\dT:.Z-]+$/.test(time) ? { time } : {}),
      ...(typeof level === 'number' ? { level } : {}),
      event: ([event, msg].find((name) => typeof name === 'string' && WORDS.test(name)) as string) ?? 'other',
    });
  }
  return events.slice(-most);
}

/** Names and plain words: no numbers, paths, addresses or quotes. */
const WORDS = /^[A-Za-z][A-Za-z ._:-]{1,80}$/;

/** The last lines of the log: of the file, or of the journal. Empty when there is no log. */
export async function readLogTail(file: string, platform = process.platform): Promise<string[]> {
  if (platform === 'linux') {
    const words = ['--user', '--unit', UNIT_NAME, '--lines', '500', '--output', 'cat', '--no-pager'];
    const said = await promisify(execFile)('journalctl', words, { maxBuffer: 1e7, timeout: 10_000 }).catch(
      () => undefined,
    );
    const lines = said?.stdout.split('\n').filter((line) => line.startsWith('{')) ?? [];
    if (lines.length > 0) return lines;
  }
  try {
    const handle = await open(file);
    try {
      const { size } = await handle.stat();
      const from = Math.max(0, size - TAIL_BYTES);
      const { buffer, bytesRead } = await handle.read(Buffer.alloc(size - from), 0, size - from, from);
      const lines = buffer.toString('utf8', 0, bytesRead).split('\n');
      // The first line may be cut off.
      return from > 0 ? lines.slice(1) : lines;
    } finally {
      await handle.close();
    }
  } catch {
    return [];
  }
}
