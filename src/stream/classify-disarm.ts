import type { AppMessageOf } from '../protocol/messages.js';
import { countWord } from './disarm-word.js';
import { validate } from './validate.js';

/**
 * What counts as a disarm on the stream, however it is spelt:
 *
 *   the word is in a frame ──> short, whole text, and a valid message of another type with the word in a name? ── yes ──>
 *                                  harmless: taken as that message
 *                                       │ no
 *                                       ▼
 *                                  every hand is disarmed (a well-formed one: the hand that it names, if it is there)
 *
 * A wearer who wants to be free must not be refused for a comma.
 */

/**
 * Longest message that is parsed for this, in characters. In a longer one the word is a disarm wherever it stands, since
 * parsing it would keep others waiting.
 */
export const LONGEST_CLASSIFIED = 2048;

/** Fields that an app fills with names of its own. */
const NAMES = ['app', 'id', 'layer'] as const;

/** What a message that contains the word means. */
export type DisarmClass =
  /** Another message, with the word in a name. */
  | { readonly is: 'harmless' }
  /** A well-formed disarm. */
  | { readonly is: 'disarm'; readonly message: AppMessageOf<'disarm'> }
  /** A misspelt disarm, or what may be one: for every hand. */
  | { readonly is: 'disarmAll' };

const DISARM_ALL: DisarmClass = { is: 'disarmAll' };

/** @param text of a whole message; undefined when it was binary */
export function classifyDisarm(text: string | undefined): DisarmClass {
  if (text === undefined || text.length > LONGEST_CLASSIFIED) return DISARM_ALL;
  const checked = validate(text);
  if (!checked.ok) return DISARM_ALL;
  if (checked.message.type === 'disarm') return { is: 'disarm', message: checked.message };
  const message = checked.message as Partial<Record<(typeof NAMES)[number], unknown>>;
  const named = NAMES.reduce((sum, name) => sum + countWord(JSON.stringify(message[name] ?? '')), 0);
  // A parser keeps only the last of duplicate keys: the word may be in one that it dropped.
  return countWord(text) > named ? DISARM_ALL : { is: 'harmless' };
}
