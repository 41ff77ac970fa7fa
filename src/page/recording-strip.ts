import { button, make, setText } from './dom.js';
import { isSimulated, type Live, recordingOf } from './live.js';
import { ask } from './routes.js';

/** Shown above every part while a recording is shown; hidden while it is the gloves themselves. */
export function createRecordingStrip(live: Live): HTMLElement {
  const text = make('p', { role: 'status' });
  const refused = ({ message }: Error): void => setText(text, message);
  const back = button('Back to the glove', () => void ask('POST', '/replay/close').catch(refused), {
    hidden: true,
  });
  const strip = make('aside', { class: 'strip', 'aria-label': 'Replay', hidden: true }, text, back);
  let shown = '';
  /** The service says that a simulated glove stands in for one that is not there. */
  let standIn = false;
  let simulatedNow = false;

  const update = () => {
    const hands = [...live.hands.values()].filter((hand) => recordingOf(hand) !== undefined);
    const names = [...new Set(hands.map(recordingOf))].join(', ');
    strip.hidden = !live.connected || (hands.length === 0 && !standIn);
    if (standIn && hands.length === 0) {
      setText(text, 'A simulated glove, in place of yours: it moves by itself, and nobody feels anything.');
      back.hidden = false;
      shown = 'simulated';
      return;
    }
    const which =
      hands.length < live.hands.size ? ` (${hands.map(({ info }) => info.hand).join()} hand)` : '';
    // Kept while it is hidden: a status is read aloud when its text changes.
    setText(text, strip.hidden ? '' : `Replay of ${names}${which}, not the glove: no force is possible.`);
    if (names === shown) return;
    shown = names;
    back.hidden = true;
    if (names === '') return;
    // A service of `tautline replay` has no glove to go back to.
    ask('GET', '/replay').then(
      () => {
        back.hidden = false;
      },
      () => {},
    );
  };
  /** Of a glove that is simulated by its own profile, nothing needs to be said here. */
  const lookForStandIn = () => {
    const now = live.connected && [...live.hands.values()].some(isSimulated);
    if (now === simulatedNow) return;
    simulatedNow = now;
    standIn = false;
    update();
    if (!now) return;
    ask<{ simulated?: boolean }>('GET', '/sessions').then(
      (answer) => {
        standIn = simulatedNow && answer.simulated === true;
        update();
      },
      () => {},
    );
  };
  live.changed.on(update);
  live.changed.on(lookForStandIn);
  update();
  lookForStandIn();
  return strip;
}
