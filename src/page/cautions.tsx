import { Answer, closeDialog, showDialog } from './dialog.js';

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

export const CautionList = () => (
  <ul class="cautions">
    {CAUTIONS.map((line) => (
      <li key={line}>{line}</li>
    ))}
  </ul>
);

/** Whether they have been read in this browser. */
export const cautionsRead = (): boolean => localStorage.getItem(KEY) === 'read';

function read(): void {
  localStorage.setItem(KEY, 'read');
  closeDialog();
}

/** Shows them; nobody arms from this page without having been through here. */
export const showCautions = (): void =>
  showDialog({
    id: 'cautions-title',
    heading: 'Before forces act on a hand',
    content: <CautionList />,
    answers: (
      <>
        <Answer label="I have read this" act={read} main />
        <Answer label="Not now" act={closeDialog} />
      </>
    ),
  });
