import { make, setText } from './dom.js';

/**
 * A button that acts only when it is held down for a while, by pointer, Space or Enter: nobody does that by
 * accident. Its progress shows; letting go early undoes it.
 *
 * @param mayStart false keeps the hold from beginning
 */
export function createHoldButton(
  label: string,
  holdMs: number,
  mayStart: () => boolean,
  act: () => void,
): HTMLButtonElement {
  const text = make('span', {}, label);
  const fill = make('i');
  const element = make('button', { type: 'button', class: 'hold' }, fill, text);
  let timer: ReturnType<typeof setTimeout> | undefined;
  let filling: Animation | undefined;

  const start = () => {
    if (timer !== undefined || element.disabled || !mayStart()) return;
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
    clearTimeout(timer);
    timer = undefined;
    filling?.cancel();
    delete element.dataset.holding;
    setText(text, label);
  };

  element.addEventListener('pointerdown', (event) => {
    if (event.button === 0) start();
  });
  for (const type of ['pointerup', 'pointerleave', 'pointercancel', 'blur'] as const) {
    element.addEventListener(type, stop);
  }
  element.addEventListener('keydown', (event) => {
    if (event.key !== ' ' && event.key !== 'Enter') {
      stop();
      return;
    }
    event.preventDefault();
    if (!event.repeat) start();
  });
  element.addEventListener('keyup', stop);
  // A long touch is no wish for a menu.
  element.addEventListener('contextmenu', (event) => event.preventDefault());
  return element;
}
