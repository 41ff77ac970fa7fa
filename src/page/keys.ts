import { answer, createDialog } from './dialog.js';
import { button, make } from './dom.js';

const KEY = 'tautline.keys';

/** Keys of one character do something: who speaks to the machine, or presses by accident, can switch them off. */
export const characterKeys = (): boolean => localStorage.getItem(KEY) !== 'off';

function permitCharacterKeys(on: boolean): void {
  if (on) localStorage.removeItem(KEY);
  else localStorage.setItem(KEY, 'off');
  document.body.dataset.keys = on ? 'on' : 'off';
}

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
  const box = make('input', { type: 'checkbox', checked: characterKeys() });
  box.addEventListener('change', () => permitCharacterKeys(box.checked));
  permitCharacterKeys(box.checked);
  const choice = make(
    'label',
    { class: 'check' },
    box,
    'Keys of a single letter, digit or sign. Esc, Tab, arrows, Space and Enter work in any case.',
  );
  const dialog = createDialog(
    'keys-title',
    'Keys',
    [list, choice],
    [answer('Close', () => dialog.close(), { class: 'main' })],
  );
  // The heading has the focus: Enter there closes what was only looked at.
  dialog.element.addEventListener('keydown', (event) => {
    const onHeading = event.target instanceof HTMLHeadingElement;
    if (event.key === 'Enter' && onHeading && !event.repeat) dialog.close();
  });
  const { show } = dialog;
  return { button: button('Keys', show, { class: 'quiet keys-button', 'aria-keyshortcuts': '?' }), show };
}
