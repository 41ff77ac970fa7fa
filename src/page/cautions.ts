import { button, make } from './dom.js';

const KEY = 'tautline.cautions';

const CAUTIONS = [
  'Strings, servos and batteries can pinch, burn and jam.',
  'Keep the tension capped in the profile.',
  'Keep a way to get the hand out: a release you can reach with the other hand.',
  'Try it with the glove off the hand first.',
  'Never leave a lithium cell charging unattended.',
  'Follow the electrical and battery codes of your place.',
  'This is no medical or rehabilitation device: those need licensed practice.',
];

export const cautionList = (): HTMLElement =>
  make('ul', { class: 'cautions' }, ...CAUTIONS.map((line) => make('li', {}, line)));

/** Whether they have been read in this browser. */
export const cautionsRead = (): boolean => localStorage.getItem(KEY) === 'read';

/** Shows them; nobody arms from this page before he has been through here. */
export function createCautionsDialog(): HTMLDialogElement {
  const dialog = make(
    'dialog',
    { class: 'dialog', 'aria-labelledby': 'cautions-title' },
    make('h2', { id: 'cautions-title' }, 'Before forces act on a hand'),
    cautionList(),
  );
  const close = button('Not now', () => dialog.close());
  const read = button(
    'I have read this',
    () => {
      localStorage.setItem(KEY, 'read');
      dialog.close();
    },
    { class: 'main' },
  );
  dialog.append(make('div', { class: 'actions' }, read, close));
  document.body.append(dialog);
  return dialog;
}
