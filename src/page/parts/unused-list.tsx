import type { ReadonlySignal } from '@preact/signals';
import { unusedLines } from '../../resistance/unused-lines.js';
import { type LiveHand, neverUsed } from '../live.js';
import { sentence } from './words.js';

/** Why fingers of a hand stay free whatever apps ask, and what to do, a line each; empty where none does. */
export const unusedText = (hand: Pick<LiveHand, 'info'>): string =>
  unusedLines(neverUsed(hand))
    .map(({ says, remedy }) => `${sentence(says)} ${remedy}`)
    .join('\n');

export const UnusedList = ({ text }: { text: ReadonlySignal<string> }) => (
  <ul class="unused-why" aria-label="Fingers that stay free">
    {text.value !== '' && text.value.split('\n').map((line) => <li key={line}>{line}</li>)}
  </ul>
);
