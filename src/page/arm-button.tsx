import type { RefObject } from 'preact';
import { useRef } from 'preact/hooks';
import type { HandSide } from '../hand/joints.js';
import { arm, handsText } from './arming.js';
import { cautionsRead, showCautions } from './cautions.js';
import { Answer, closeDialog, showDialog } from './dialog.js';
import { HoldButton } from './hold-button.js';

const HOLD_MS = 1200;

let buttons = 0;

/** Asks once more, where the first press cannot be held: of a screen reader, of a voice. */
function ask(side: HandSide | undefined, act: () => void): void {
  const yes = () => {
    closeDialog();
    act();
  };
  const of = side === undefined ? 'the hand' : `the ${handsText([side])}`;
  showDialog({
    id: 'arm-title',
    heading: 'Arm the glove?',
    content: (
      <p>{`From then on apps can hold the fingers of ${of}. Escape, or the Disarm button, frees them at any time.`}</p>
    ),
    answers: (
      <>
        <Answer label="Not now" act={closeDialog} main />
        <Answer label="Arm now" act={yes} />
      </>
    ),
  });
}

/** Of which hand, and what becomes of it. */
export interface Arming {
  /** Which hand. */
  side(): HandSide | undefined;
  /** A press began: what was said of the last one no longer counts. */
  began(): void;
  /** It is armed, or this is why not. */
  done(refusal: string | undefined): void;
}

interface ArmButtonProps extends Arming {
  disabled?: boolean;
  hidden?: boolean;
  /** Neither seen nor pressed, and what is below stays where it is. */
  away?: boolean;
  /** Where the button is to be known from outside. */
  button?: RefObject<HTMLButtonElement | null>;
}

/** The button that arms a hand, and how it is used: one that is held, with a way for those who cannot hold. */
export function ArmButton(props: ArmButtonProps) {
  const { side, began, done, disabled = false, hidden = false, away = false, button } = props;
  const own = useRef<HTMLButtonElement>(null);
  const how = useRef('');
  how.current ||= `arm-how-${++buttons}`;
  const act = () => {
    arm(side()).then(
      () => done(undefined),
      ({ message }: Error) => done(message),
    );
  };
  return (
    <div class="arm-how" hidden={hidden} data-away={away ? 'true' : undefined}>
      <HoldButton
        label="Hold to arm"
        holdMs={HOLD_MS}
        disabled={disabled || away}
        describedBy={how.current}
        element={button ?? own}
        mayStart={() => {
          began();
          return cautionsRead();
        }}
        instead={showCautions}
        act={act}
        pressed={() => ask(side(), act)}
      />
      <p class="lead hold-how" id={how.current}>
        Hold it for a second, by pointer, Space or Enter. A press by a screen reader or by voice asks once
        more before it arms.
      </p>
    </div>
  );
}
