import { signal, useSignal } from '@preact/signals';
import type { ComponentChildren } from 'preact';
import { useLayoutEffect, useRef } from 'preact/hooks';
import { Guarded } from './guarded.js';

/** For this long after it was opened, a dialog takes no answer: the press that opened it, or a second tap, does not count. */
const SETTLE_MS = 700;

/** What a dialog shows. */
export interface Asked {
  id: string;
  heading: string;
  content: ComponentChildren;
  /** Each an `Answer`, so that only a press that was meant for it counts. */
  answers: ComponentChildren;
  /** Nothing is asked: Enter on the heading closes it. */
  onlyShows?: boolean;
}

const shown = signal<Asked | undefined>(undefined);
/** What had the focus before. */
let before: Element | null = null;

/** Keys that mean something elsewhere mean nothing then; what is behind it is out of reach. */
export const dialogShown = (): boolean => shown.value !== undefined;

/** Shows a dialog, unless one is shown. */
export function showDialog(asked: Asked): void {
  if (shown.peek()) return;
  before = document.activeElement;
  shown.value = asked;
}

export function closeDialog(): void {
  if (!shown.peek()) return;
  shown.value = undefined;
  if (before instanceof HTMLElement) before.focus();
}

/**
 * Where dialogs are shown. One that is modal to the browser makes all else inert, the disarm bar too; here all but that
 * bar is (see main.tsx), and the bar stays in its place, in reach of pointer, finger and key.
 */
export function DialogLayer() {
  useLayoutEffect(() => {
    const leave = (event: KeyboardEvent) => {
      if (event.key === 'Escape') closeDialog();
    };
    window.addEventListener('keydown', leave);
    return () => window.removeEventListener('keydown', leave);
  }, []);
  const asked = shown.value;
  if (!asked) return null;
  return (
    <>
      <div class="veil" />
      <Dialog key={asked.id} {...asked} />
    </>
  );
}

function Dialog({ id, heading, content, answers, onlyShows = false }: Asked) {
  const element = useRef<HTMLDialogElement>(null);
  const title = useRef<HTMLHeadingElement>(null);
  const settled = useSignal(false);
  useLayoutEffect(() => {
    // From there a dialog is read, and no key answers it at once.
    title.current?.focus();
    if (element.current) element.current.scrollTop = 0;
    const timer = setTimeout(() => {
      settled.value = true;
    }, SETTLE_MS);
    return () => clearTimeout(timer);
  }, []);
  const close = (event: KeyboardEvent) => {
    if (onlyShows && event.key === 'Enter' && !event.repeat) closeDialog();
  };
  return (
    <dialog class="dialog" aria-labelledby={id} open ref={element}>
      <h2 id={id} tabIndex={-1} ref={title} onKeyDown={close}>
        {heading}
      </h2>
      <Guarded what="This">{content}</Guarded>
      <div class="actions" inert={!settled.value}>
        {answers}
      </div>
    </dialog>
  );
}

/** A button that answers a dialog: by a press that began on it, never by the end of one that began before. */
export function Answer({ label, act, main = false }: { label: string; act: () => void; main?: boolean }) {
  const element = useRef<HTMLButtonElement>(null);
  const pressed = useRef(false);
  useLayoutEffect(() => {
    const press = ({ target }: PointerEvent) => {
      pressed.current = target instanceof Node && element.current?.contains(target) === true;
    };
    window.addEventListener('pointerdown', press, { capture: true });
    return () => window.removeEventListener('pointerdown', press, { capture: true });
  }, []);
  return (
    <button
      type="button"
      class={main ? 'main' : undefined}
      ref={element}
      // A key that is still held down from before repeats itself.
      onKeyDown={(event) => event.repeat && event.preventDefault()}
      onClick={(event) => {
        // Without a pointer: a key, or a program that reads the page aloud and presses for its user.
        if (event.detail > 0 && !pressed.current) return;
        pressed.current = false;
        act();
      }}
    >
      {label}
    </button>
  );
}
