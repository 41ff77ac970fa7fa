import { type Logger, pino } from 'pino';
import { openLogFile } from './file.js';

/**
 * The service's log on stderr: one JSON object a line for programs, one line of text when a person looks on.
 * Written at once, so that nothing is lost when the process ends.
 */
/** @param file instead of stderr; see openLogFile */
export function createLogger(level: string, file?: string): Logger {
  const sink =
    file !== undefined
      ? openLogFile({ path: file })
      : process.stderr.isTTY
        ? { write: (line: string) => process.stderr.write(asText(line)) }
        : pino.destination({ fd: 2, sync: true });
  return pino({ level, base: undefined, timestamp: pino.stdTimeFunctions.isoTime }, sink);
}

const ENVELOPE = new Set(['level', 'time', 'msg']);

/** `12:30:05 warn: text key=value …`, from pino's JSON line. */
export function asText(line: string): string {
  const entry = JSON.parse(line) as Record<string, unknown>;
  const rest = Object.entries(entry)
    .filter(([key]) => !ENVELOPE.has(key))
    .map(([key, value]) => ` ${key}=${typeof value === 'string' ? value : JSON.stringify(value)}`);
  const level = pino.levels.labels[Number(entry.level)] ?? entry.level;
  return `${String(entry.time).slice(11, 19)} ${level}: ${entry.msg ?? ''}${rest.join('')}\n`;
}
