const WORD = 'disarm';

/** Bytes before a piece of a message that may hold the start of the word: more than its longest spelling. */
export const WORD_OVERLAP = 64;

/**
 * The word that frees fingers, in any case, in UTF-8, in UTF-16 or UTF-32 of either byte order, or with letters escaped as in JSON (RFC
 * 8259, 7). For bytes read as Latin-1.
 */
const letter = (small: string): string => {
  const codes = [small, small.toUpperCase()].map((char) => char.charCodeAt(0).toString(16));
  return `(?:${small}|\\\\u00(?:${codes.join('|')}))`;
};
const PATTERN = [...WORD].map(letter).join('\\0{0,3}');
const ANYWHERE = new RegExp(PATTERN, 'i');
const EVERYWHERE = new RegExp(PATTERN, 'gi');

/** Whether the word is in bytes that were read as Latin-1. */
export const hasWord = (latin1: string): boolean => ANYWHERE.test(latin1);

/** A character of the word's last letter in each spelling; where none is, the word is not. */
const LAST_LETTERS = ['m', 'M', '\\'] as const;
/** To look for single bytes first is quicker from so many on. */
const WORTH_LOOKING_FIRST = 512;

/** Whether the word is in bytes. Most of what apps send has no m in it, and is done with at the speed of memory. */
export function bytesHaveWord(bytes: Buffer): boolean {
  if (bytes.length >= WORTH_LOOKING_FIRST) {
    const [small, large, escaped] = LAST_LETTERS;
    if (!bytes.includes(small) && !bytes.includes(large) && !bytes.includes(escaped)) return false;
  }
  return hasWord(bytes.toString('latin1'));
}

/** How often it is in there. */
export const countWord = (latin1: string): number => latin1.match(EVERYWHERE)?.length ?? 0;
