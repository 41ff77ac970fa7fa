import type { HandSide } from '../../hand/joints.js';
import { make, setText } from '../dom.js';
import { type Live, recordingOf } from '../live.js';
import type { Part } from '../part.js';
import { createFingerChips } from './finger-chips.js';
import { createUnusedList } from './unused-list.js';
import { createWristNote } from './wrist-note.js';

/** Part 1: each hand in words, beside the picture that the stage shows. */
export function createHandsPart(live: Live): Part {
  const panel = make('section', { 'aria-labelledby': 'hands-title' });
  const shown = new Map<HandSide, { card: HTMLElement; update(): void; stop(): void }>();

  const sync = () => {
    for (const [side, one] of shown) {
      if (live.hands.has(side)) continue;
      one.stop();
      one.card.remove();
      shown.delete(side);
    }
    for (const side of live.hands.keys()) {
      if (shown.has(side)) continue;
      const one = createCard(live, side);
      shown.set(side, one);
      cards.append(one.card);
    }
    for (const one of shown.values()) one.update();
  };
  const cards = make('div', { class: 'stack' });
  panel.append(make('h2', { id: 'hands-title' }, 'Hands'), cards, legend());
  live.changed.on(sync);
  live.client.on('health', sync);
  setInterval(sync, 1000);
  sync();
  return {
    name: 'hands',
    label: 'Hands',
    icon: '<path d="M6 21v-7L3.5 10.500 5 9l3 3V4.500a1.300 1.300 0 0 1 2.600 0V10h.4V3.300a1.300 1.300 0 0 1 2.600 0V10h.4V4.300a1.300 1.300 0 0 1 2.600 0V11h.4V6.800a1.300 1.300 0 0 1 2.600 0V15l-2 6z" fill="none" stroke="currentColor" stroke-width="1.6" stroke-linejoin="round"/>',
    panel,
  };
}

function createCard(live: Live, side: HandSide) {
  const name = make('h3');
  const state = make('p', { class: 'lead', role: 'status' });
  const played = make('p', { class: 'played', hidden: true });
  const unused = createUnusedList();
  const wrist = createWristNote();
  const { element: chips, stop } = createFingerChips(live, side);
  const card = make(
    'article',
    { class: 'card', 'data-hand': side },
    name,
    played,
    state,
    wrist.element,
    chips,
    unused.element,
  );
  const update = () => {
    const hand = live.hands.get(side);
    if (!hand) return;
    const recording = recordingOf(hand);
    const of = recording === undefined ? hand.info.name : `replay of ${recording}`;
    setText(name, `${side === 'left' ? 'Left' : 'Right'} hand: ${of}`);
    played.hidden = recording === undefined;
    setText(played, `Recorded with ${hand.info.name}. Nothing can be felt: forces are not possible.`);
    unused.update(hand);
    wrist.update(hand);
    const { joints, health, info } = hand;
    const link = health?.link ?? info.link;
    const well = joints?.valid === true && live.connected;
    card.classList.toggle('bad', !well);
    if (!live.connected) setText(state, 'The service does not answer; this is the last pose it sent.');
    else if (joints && !joints.valid)
      setText(state, joints.reason ?? link.reason ?? 'The glove sends nothing.');
    else if (!joints) setText(state, link.reason ?? 'Waiting for the first pose.');
    else {
      const rate = health ? `${Math.round(health.rateHz)} samples a second` : 'live';
      const placed = joints.space === 'world' ? 'Placed in the world' : 'Around the wrist';
      const faulty = health?.channels.filter(({ verdict }) => verdict !== 'healthy').length ?? 0;
      const faults =
        faulty === 0
          ? ''
          : ` ⚠ ${faulty} ${faulty === 1 ? 'sensor is' : 'sensors are'} not well: see Signals.`;
      setText(state, `${placed}, ${rate}.${faults}`);
    }
  };
  return { card, update, stop };
}

function legend(): HTMLElement {
  const entry = (term: string, meaning: string) =>
    make('div', {}, make('dt', {}, term), make('dd', {}, meaning));
  return make(
    'dl',
    { class: 'legend' },
    entry('Sensed', 'a healthy sensor moves it'),
    entry('Guessed', 'filled in from the other fingers; drawn clear, with a ring'),
    entry('Stopped', 'a string holds it; drawn with a bracket under the pad'),
    entry('Unknown', 'the glove sends nothing that could be used'),
  );
}
