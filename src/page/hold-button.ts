import { make, setText } from './dom.js';

/**
 * A button that acts only when it is held down for a while, by pointer, Space or Enter: nobody does that by
 * accident. Its progress shows; letting go early undoes it.
 *
 * @param mayStart false keeps the hold from beginning; `instead` then follows once finger or key is up again: what
 *   that shows must not be answered by the same press
 */
export function createHoldButton(
  label: string,
  holdMs: number,
  mayStart: () => boolean,
  instead: () => void,
  act: () => void,
): HTMLButtonElement {
  const text = make('span', {}, label);
  const fill = make('i');
  const element = make('button', { type: 'button', class: 'hold' }, fill, text);
  let timer: ReturnType<typeof setTimeout> | undefined;
  let filling: Animation | undefined;

  /** Pressed, and up to now nothing but that. */
  let refused = false;

  const start = () => {
    if (timer !== undefined || element.disabled) return;
    refused = !mayStart();
    if (refused) return;
    setText(text, 'Keep holding…');
    element.dataset.holding = 'true';
    filling = fill.animate([{ transform: 'scaleX(0)' }, { transform: 'scaleX(1)' }], {
      duration: holdMs,
      fill: 'forwards',
    });
    timer = setTimeout(() => {
      stop();
      act();
    }, holdMs);
  };
  const stop = () => {
    refused = false;
    clearTimeout(timer);
    timer = undefined;
    filling?.cancel();
    delete element.dataset.holding;
    setText(text, label);
  };

  element.addEventListener('pointerdown', (event) => {
    if (event.button === 0) start();
  });
  const lift = () => {
    const show = refused;
    stop();
    if (show) instead();
  };

  element.addEventListener('pointerup', lift);
  for (const type of ['pointerleave', 'pointercancel', 'blur'] as const) element.addEventListener(type, stop);
  // A program that reads the page aloud presses without pointer or key.
  element.addEventListener('click', ({ detail }) => {
    if (detail === 0 && !element.disabled && !mayStart()) instead();
  });
  element.addEventListener('keydown', (event) => {
    if (event.key !== ' ' && event.key !== 'Enter') {
      stop();
      return;
    }
    event.preventDefault();
    if (!event.repeat) start();
  });
  element.addEventListener('keyup', lift);
  // A long touch does not ask for a menu.
  element.addEventListener('contextmenu', (event) => event.preventDefault());
  return element;
}
