import type { HandSide } from '../hand/joints.js';
import { arm, handsText } from './arming.js';
import { cautionsRead, createCautionsDialog } from './cautions.js';
import { answer, createDialog, type Dialog } from './dialog.js';
import { make, setText } from './dom.js';
import { createHoldButton } from './hold-button.js';

const HOLD_MS = 1200;

/** The two dialogs are of the page: every button that arms shows the same. */
let cautions: Dialog | undefined;
let asking: { dialog: Dialog; text: HTMLElement } | undefined;
let armNow = (): void => {};
let buttons = 0;

/** Asks once more, where the first press cannot be held: of a screen reader, of a voice. */
function ask(side: HandSide | undefined, act: () => void): void {
  armNow = act;
  if (!asking) {
    const text = make('p');
    const yes = answer('Arm now', () => {
      dialog.close();
      armNow();
    });
    const dialog = createDialog(
      'arm-title',
      'Arm the glove?',
      [text],
      [answer('Not now', () => dialog.close(), { class: 'main' }), yes],
    );
    asking = { dialog, text };
  }
  const of = side === undefined ? 'the hand' : `the ${handsText([side])}`;
  setText(
    asking.text,
    `From then on apps can hold the fingers of ${of}. Escape, or the Disarm button, frees them at any time.`,
  );
  asking.dialog.show();
}

/** The button that arms a hand, and how it is used: one that is held, with a way for those who cannot hold. */
export interface ArmButton {
  /** Both. */
  readonly element: HTMLElement;
  readonly button: HTMLButtonElement;
}

/**
 * @param side which hand
 * @param began a press began: what was said of the last one no longer counts
 * @param done it is armed, or this is why not
 */
export function createArmButton(
  side: () => HandSide | undefined,
  began: () => void,
  done: (refusal: string | undefined) => void,
): ArmButton {
  cautions ??= createCautionsDialog();
  const act = () => {
    arm(side()).then(
      () => done(undefined),
      ({ message }: Error) => done(message),
    );
  };
  const button = createHoldButton('Hold to arm', HOLD_MS, {
    mayStart() {
      began();
      return cautionsRead();
    },
    instead: cautions.show,
    act,
    pressed: () => ask(side(), act),
  });
  const how = make(
    'p',
    { class: 'lead hold-how', id: `arm-how-${++buttons}` },
    'Hold it for a second, by pointer, Space or Enter. A press by a screen reader or by voice asks once more before it arms.',
  );
  button.setAttribute('aria-describedby', how.id);
  return { element: make('div', { class: 'arm-how' }, button, how), button };
}
