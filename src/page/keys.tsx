import { signal } from '@preact/signals';
import { Fragment } from 'preact';
import { Answer, closeDialog, showDialog } from './dialog.js';

const KEY = 'tautline.keys';

const on = signal(localStorage.getItem(KEY) !== 'off');
on.subscribe((isOn) => {
  if (isOn) localStorage.removeItem(KEY);
  else localStorage.setItem(KEY, 'off');
  document.body.dataset.keys = isOn ? 'on' : 'off';
});

/** Keys of one character do something: who speaks to the machine, or presses by accident, can switch them off. */
export const characterKeys = (): boolean => on.value;

const KEYS: readonly (readonly [string, string])[] = [
  ['Esc', 'Disarm, wherever you are'],
  ['1 to 6', 'Bench, Signals, Fit, Touch, Sessions, Apps'],
  ['B, P, S, T', 'See the back, the palm, the side, the tips'],
  ['Arrows', 'Turn the picture, when it has the focus; + and - come nearer and go away'],
  ['Tab', 'To the next control; Space or Enter presses it'],
  ['?', 'This list'],
];

const KeyList = () => (
  <dl class="key-list">
    {KEYS.map(([keys, does]) => (
      <Fragment key={keys}>
        <dt>{keys}</dt>
        <dd>{does}</dd>
      </Fragment>
    ))}
  </dl>
);

const KeyChoice = () => (
  <label class="check">
    <input
      type="checkbox"
      checked={on.value}
      onChange={({ currentTarget }) => {
        on.value = currentTarget.checked;
      }}
    />
    Keys of a single letter, digit or sign. Esc, Tab, arrows, Space and Enter work in any case.
  </label>
);

export const showKeys = (): void =>
  showDialog({
    id: 'keys-title',
    heading: 'Keys',
    onlyShows: true,
    content: (
      <>
        <KeyList />
        <KeyChoice />
      </>
    ),
    answers: <Answer label="Close" act={closeDialog} main />,
  });

/** Shows the list of keys; `?` does so as well. */
export const KeysButton = () => (
  <button type="button" class="quiet keys-button" aria-keyshortcuts="?" onClick={showKeys}>
    Keys
  </button>
);
