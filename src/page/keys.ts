import { answer, createDialog } from './dialog.js';
import { button, make } from './dom.js';

const KEYS: readonly (readonly [string, string])[] = [
  ['Esc', 'Disarm, wherever you are'],
  ['1 to 6', 'Bench, Signals, Fit, Touch, Sessions, Apps'],
  ['B, P, S, T', 'See the back, the palm, the side, the tips'],
  ['Arrows', 'Turn the picture, when it has the focus; + and - come nearer and go away'],
  ['Tab', 'To the next control; Space or Enter presses it'],
  ['?', 'This list'],
];

/** The button and the list of keys that it shows; `?` does so as well. */
export function createKeysButton(): { button: HTMLElement; show(): void } {
  const list = make('dl', { class: 'key-list' });
  for (const [keys, does] of KEYS) list.append(make('dt', {}, keys), make('dd', {}, does));
  const dialog = createDialog(
    'keys-title',
    'Keys',
    [list],
    [answer('Close', () => dialog.close(), { class: 'main' })],
  );
  const { show } = dialog;
  return { button: button('Keys', show, { class: 'quiet keys-button', 'aria-keyshortcuts': '?' }), show };
}
