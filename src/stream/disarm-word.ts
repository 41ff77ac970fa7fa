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

/** How often it is in there. */
export const countWord = (latin1: string): number => latin1.match(EVERYWHERE)?.length ?? 0;
