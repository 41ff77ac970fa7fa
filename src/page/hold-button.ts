import { make, setText } from './dom.js';

export interface HoldActs {
  /** False keeps the hold from beginning. */
  mayStart(): boolean;
  /** Follows then, once finger or key is up again: what it shows must not be answered by the same press. */
  instead(): void;
  /** Held for long enough. */
  act(): void;
  /** Pressed by a program for its user, without pointer or key: that cannot be held, and must not act by itself. */
  pressed(): void;
}

/**
 * A button that acts only when it is held down for a while, by pointer, Space or Enter: nobody does that by
 * accident. Its progress shows; letting go early undoes it.
 */
export function createHoldButton(
  label: string,
  holdMs: number,
  { mayStart, instead, act, pressed }: HoldActs,
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
    if (detail !== 0 || element.disabled) return;
    if (mayStart()) pressed();
    else instead();
  });
  element.addEventListener('keydown', (event) => {
    if (event.key !== ' ' && event.key !== 'Enter') {
      stop();
      return;
    }
    event.preventDefault();
    if (!event.repeat) start();
  });
  element.addEventListener('keyup', (event) => {
    // Some browsers press a button when Space comes up, whatever became of its going down.
    if (event.key === ' ') event.preventDefault();
    lift();
  });
  // A long touch does not ask for a menu.
  element.addEventListener('contextmenu', (event) => event.preventDefault());
  return element;
}
