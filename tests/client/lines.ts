import type { Readable } from 'node:stream';

/** The lines that a program has printed so far; grows while it runs. */
export function linesOf(stream: Readable, prefix = ''): string[] {
  const lines: string[] = [];
  let rest = '';
  stream.setEncoding('utf8').on('data', (text: string) => {
    const parts = `${rest}${text}`.split('\n');
    rest = parts.pop()!;
    lines.push(...parts.map((line) => `${prefix}${line.trimEnd()}`));
  });
  return lines;
}
