import { unusedLines } from '../../resistance/unused-lines.js';
import { make } from '../dom.js';
import { type LiveHand, neverUsed } from '../live.js';
import { sentence } from './words.js';

/** Why fingers of a hand stay free whatever apps ask, and what to do; nothing where none does. */
export function createUnusedList(): { element: HTMLElement; update(hand: LiveHand): void } {
  const element = make('ul', { class: 'unused-why', 'aria-label': 'Fingers that stay free' });
  let said = '';
  return {
    element,
    update(hand) {
      const lines = unusedLines(neverUsed(hand)).map(({ says, remedy }) => `${sentence(says)} ${remedy}`);
      const text = lines.join('\n');
      if (text === said) return;
      said = text;
      element.replaceChildren(...lines.map((line) => make('li', {}, line)));
    },
  };
}
