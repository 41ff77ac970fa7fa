import type { AppMessageOf } from '../protocol/messages.js';
import { countWord } from './disarm-word.js';
import { validate } from './validate.js';

/**
 * What counts as a disarm on the stream, however it is spelt:
 *
 *   the word stands in a frame ──> text, short, whole, and a message of another type that has it in a name? ── yes ──>
 *                                  no harm in it: taken as that message
 *                                       │ no
 *                                       ▼
 *                                  every hand is disarmed (a well-formed one: the hand that it names, if it is there)
 *
 * Nobody who wants to be free must be refused for a comma.
 */

/**
 * Longest message that is looked into, characters. In a longer one the word is a disarm wherever it stands: reading it
 * would make others wait.
 */
export const LONGEST_JUDGED = 2048;

/** Fields that an app fills with names of its own. */
const NAMES = ['app', 'id', 'layer'] as const;

/** What a message with the word in it comes to. */
export type Judgement =
  /** It is a message that has the word in a name. */
  | { readonly is: 'harmless' }
  /** A disarm as it should be. */
  | { readonly is: 'disarm'; readonly message: AppMessageOf<'disarm'> }
  /** A disarm that is misspelt, or may be one: for every hand. */
  | { readonly is: 'disarmAll' };

const DISARM_ALL: Judgement = { is: 'disarmAll' };

/** @param text of a whole message; undefined when it was binary */
export function judge(text: string | undefined): Judgement {
  if (text === undefined || text.length > LONGEST_JUDGED) return DISARM_ALL;
  const checked = validate(text);
  if (!checked.ok) return DISARM_ALL;
  if (checked.message.type === 'disarm') return { is: 'disarm', message: checked.message };
  const message = checked.message as Partial<Record<(typeof NAMES)[number], unknown>>;
  const named = NAMES.reduce((sum, name) => sum + countWord(JSON.stringify(message[name] ?? '')), 0);
  // What is said twice counts once for a parser: the word may stand in what it left out.
  return countWord(text) > named ? DISARM_ALL : { is: 'harmless' };
}
