/** Breaks text at spaces into lines of at most so many columns; a longer word stands alone. */
export function wrap(text: string, columns: number): string[] {
  const lines: string[] = [];
  for (const word of text.split(' ')) {
    const last = lines.length - 1;
    if (last >= 0 && lines[last].length + 1 + word.length <= columns) lines[last] += ` ${word}`;
    else lines.push(word);
  }
  return lines;
}
