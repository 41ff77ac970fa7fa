/** Deepest nesting accepted over HTTP: a list of frames of joints of coordinates has 4. */
const DEEPEST = 32;

/**
 * Whether a text nests brackets deeper than any JSON that belongs here. A parser takes a tenth of a second for a
 * megabyte of them, while everything else waits. Brackets in strings count too: names have few.
 */
export function isTooDeep(text: string): boolean {
  let depth = 0;
  for (let i = 0; i < text.length; i++) {
    const code = text.charCodeAt(i);
    if (code === OPEN_SQUARE || code === OPEN_CURLY) {
      if (++depth > DEEPEST) return true;
    } else if ((code === CLOSE_SQUARE || code === CLOSE_CURLY) && depth > 0) depth--;
  }
  return false;
}

const OPEN_SQUARE = 0x5b;
const CLOSE_SQUARE = 0x5d;
const OPEN_CURLY = 0x7b;
const CLOSE_CURLY = 0x7d;
