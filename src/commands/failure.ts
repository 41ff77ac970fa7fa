import { EXIT_CODE, TautlineError } from '../errors.js';

/** Says on stderr what went wrong: one line, or one line for each trouble of a file. */
export function sayFailure(error: unknown): void {
  for (const line of linesOf(error)) process.stderr.write(`tautline: ${line}\n`);
}

function linesOf(error: unknown): string[] {
  if (error instanceof TautlineError) return [error.line, ...error.details].map(oneLine);
  const message = error instanceof Error ? error.message : String(error);
  return [`A fault in the program: ${oneLine(message)}. Please report it with what you did.`];
}

export function exitCodeOf(error: unknown): number {
  const code = error instanceof TautlineError ? error.code : 'internal';
  return EXIT_CODE[code] ?? EXIT_CODE.failed;
}

const oneLine = (text: string) => text.replace(/\s*[\r\n]+\s*/g, ' ');
