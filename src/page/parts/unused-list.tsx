import { type ReadonlySignal, signal } from '@preact/signals';
import { render } from 'preact';
import { unusedLines } from '../../resistance/unused-lines.js';
import { type LiveHand, neverUsed } from '../live.js';
import { sentence } from './words.js';

/** Why fingers of a hand stay free whatever apps ask, and what to do; empty where none does. */
export const unusedTexts = (hand: Pick<LiveHand, 'info'>): string[] =>
  unusedLines(neverUsed(hand)).map(({ says, remedy }) => `${sentence(says)} ${remedy}`);

export const UnusedList = ({ texts }: { texts: readonly string[] }) => (
  <ul class="unused-why" aria-label="Fingers that stay free">
    {texts.map((text) => (
      <li key={text}>{text}</li>
    ))}
  </ul>
);

/** The same for a part that is not made of components. */
export function createUnusedList(): { element: HTMLElement; update(hand: LiveHand): void } {
  const texts = signal<readonly string[]>([]);
  const List = ({ of }: { of: ReadonlySignal<readonly string[]> }) => <UnusedList texts={of.value} />;
  const place = document.createElement('div');
  render(<List of={texts} />, place);
  return {
    element: place.firstElementChild as HTMLElement,
    update(hand) {
      const now = unusedTexts(hand);
      if (now.join('\n') !== texts.value.join('\n')) texts.value = now;
    },
  };
}
