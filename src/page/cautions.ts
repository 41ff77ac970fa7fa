import { answer, createDialog, type Dialog } from './dialog.js';
import { make } from './dom.js';

const KEY = 'tautline.cautions';

const CAUTIONS = [
  'Strings, servos and batteries can pinch, burn and jam.',
  'Keep the tension capped in the profile.',
  'Keep a way to get the hand out: a release you can reach with the other hand.',
  'Try it with the glove off the hand first.',
  'Never leave a lithium cell charging unattended.',
  'Follow the electrical and battery codes of your place.',
  'This is not a medical or rehabilitation device; those need licensed practice.',
];

export const cautionList = (): HTMLElement =>
  make('ul', { class: 'cautions' }, ...CAUTIONS.map((line) => make('li', {}, line)));

/** Whether they have been read in this browser. */
export const cautionsRead = (): boolean => localStorage.getItem(KEY) === 'read';

/** Shows them; nobody arms from this page without having been through here. */
export function createCautionsDialog(): Dialog {
  const read = answer(
    'I have read this',
    () => {
      localStorage.setItem(KEY, 'read');
      dialog.close();
    },
    { class: 'main' },
  );
  const dialog = createDialog(
    'cautions-title',
    'Before forces act on a hand',
    [cautionList()],
    [read, answer('Not now', () => dialog.close())],
  );
  return dialog;
}
