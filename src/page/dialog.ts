import { make } from './dom.js';

/** For this long after it was opened, a dialog takes no answer: the press that opened it, or a second tap, does not count. */
const SETTLE_MS = 700;

export interface Dialog {
  readonly element: HTMLDialogElement;
  show(): void;
  close(): void;
}

let shown: Dialog | undefined;

/** Keys that mean something elsewhere mean nothing then. */
export const dialogShown = (): boolean => shown !== undefined;

/**
 * A dialog that leaves Disarm in reach of pointer, finger and key. One that is modal to the browser makes all else
 * inert, the disarm bar too; here all but that bar is, and the bar stays in its place.
 *
 * @param actions buttons, made by `answer`, so that only a press that was meant for them counts
 */
export function createDialog(
  id: string,
  heading: string,
  content: readonly HTMLElement[],
  actions: readonly HTMLElement[],
): Dialog {
  // It takes the focus: from there a dialog is read, and no key answers it at once.
  const title = make('h2', { id, tabindex: -1 }, heading);
  const bar = make('div', { class: 'actions' }, ...actions);
  const element = make('dialog', { class: 'dialog', 'aria-labelledby': id }, title, ...content, bar);
  const veil = make('div', { class: 'veil', hidden: true });
  document.body.append(veil, element);
  let behind: HTMLElement[] = [];
  let before: Element | null = null;
  let settled: ReturnType<typeof setTimeout> | undefined;

  const dialog: Dialog = {
    element,
    show() {
      if (shown) return;
      shown = dialog;
      before = document.activeElement;
      bar.inert = true;
      settled = setTimeout(() => {
        bar.inert = false;
      }, SETTLE_MS);
      behind = [...document.body.children].filter(
        (one): one is HTMLElement =>
          one instanceof HTMLElement && one !== element && !one.matches('.armbar') && !one.inert,
      );
      veil.hidden = false;
      element.show();
      for (const one of behind) one.inert = true;
      title.focus();
      element.scrollTop = 0;
    },
    close() {
      if (shown !== dialog) return;
      shown = undefined;
      clearTimeout(settled);
      for (const one of behind) one.inert = false;
      veil.hidden = true;
      element.close();
      if (before instanceof HTMLElement) before.focus();
    },
  };
  window.addEventListener('keydown', (event) => {
    if (event.key === 'Escape') dialog.close();
  });
  return dialog;
}

/** A button that answers a dialog: by a press that began on it, never by the end of one that began before. */
export function answer(
  label: string,
  act: () => void,
  attributes: { class?: string } = {},
): HTMLButtonElement {
  const element = make('button', { type: 'button', ...attributes }, label);
  let pressed = false;
  window.addEventListener(
    'pointerdown',
    ({ target }) => {
      pressed = target instanceof Node && element.contains(target);
    },
    { capture: true },
  );
  // A key that is still held down from before repeats itself.
  element.addEventListener('keydown', (event) => event.repeat && event.preventDefault());
  element.addEventListener('click', (event) => {
    // Without a pointer: a key, or a program that reads the page aloud and presses for its user.
    if (event.detail > 0 && !pressed) return;
    pressed = false;
    act();
  });
  return element;
}
