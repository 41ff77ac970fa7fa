import { FINGERS, type HandSide } from '../../hand/joints.js';
import { drawing, make, setAttribute, setText } from '../dom.js';
import { CONDITION_TEXT, type FingerCondition, fingerConditions } from '../finger-state.js';
import type { Live, LiveHand } from '../live.js';

/** A shape for each condition, so that colour is never the only sign. */
const SIGN: Record<FingerCondition, string> = {
  tracked: '<circle cx="12" cy="12" r="8" fill="currentColor"/>',
  inferred:
    '<circle cx="12" cy="12" r="7" fill="none" stroke="currentColor" stroke-width="3" stroke-dasharray="5 3.8"/>',
  stopped: '<path d="M4 4h16v16H4z" fill="currentColor"/>',
  invalid: '<path d="M5 5l14 14M19 5L5 19" stroke="currentColor" stroke-width="3.5"/>',
};
const NAME = { thumb: 'Thumb', index: 'Index', middle: 'Middle', ring: 'Ring', little: 'Little' } as const;
/** Curl is news from this change on: a reader of the page must not be flooded. */
const PERIOD_MS = 100;

/** The five fingers of a hand in words: condition, curl, and who holds it. */
export function createFingerChips(live: Live, side: HandSide): { element: HTMLElement; stop(): void } {
  const chips = FINGERS.map((finger) => {
    const sign = make('span', { class: 'sign' });
    const condition = make('span', { class: 'condition' });
    const curl = make('span', { class: 'curl' });
    const bar = make('i');
    const element = make(
      'li',
      { class: 'chip', 'data-finger': finger },
      sign,
      make('strong', {}, NAME[finger]),
      condition,
      make('span', { class: 'meter', 'aria-hidden': 'true' }, bar),
      curl,
    );
    return { element, sign, condition, curl, bar };
  });
  const element = make(
    'ul',
    { class: 'chips', 'aria-label': `Fingers of the ${side} hand` },
    ...chips.map((chip) => chip.element),
  );
  const update = () => {
    const hand = live.hands.get(side);
    if (!hand) return;
    const conditions = fingerConditions(hand);
    FINGERS.forEach((finger, f) => {
      const { element, sign, condition, curl, bar } = chips[f];
      if (element.dataset.condition !== conditions[f]) {
        element.dataset.condition = conditions[f];
        sign.replaceChildren(drawing('0 0 24 24', SIGN[conditions[f]]));
        setText(condition, CONDITION_TEXT[conditions[f]]);
      }
      const closed = curlOf(hand, f);
      setText(curl, closed === undefined ? '' : `${Math.round(closed * 100)} %`);
      setAttribute(bar, 'style', `transform: scaleX(${closed === undefined ? 0 : closed.toFixed(2)})`);
      const held = hand.resistance?.fingers[finger]?.by;
      setAttribute(element, 'title', held === undefined ? undefined : `Held by ${live.nameOf(held)}`);
    });
  };
  const timer = setInterval(update, PERIOD_MS);
  update();
  return { element, stop: () => clearInterval(timer) };
}

function curlOf({ signals, joints }: LiveHand, finger: number): number | undefined {
  const curl = joints?.valid ? signals?.curls[finger] : undefined;
  return curl === undefined ? undefined : Math.min(1, Math.max(0, curl));
}
