import { effect, useSignal } from '@preact/signals';
import type { RefObject } from 'preact';
import { useLayoutEffect, useRef } from 'preact/hooks';
import { seen } from './seen.js';

interface HoldButtonProps {
  label: string;
  holdMs: number;
  disabled?: boolean;
  describedBy?: string;
  /** Where the button is to be known from outside. */
  element: RefObject<HTMLButtonElement | null>;
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
 * accident. Its progress shows; letting go early undoes it, and so does whatever takes pointer, focus or sight from it.
 */
export function HoldButton(props: HoldButtonProps) {
  const { label, holdMs, disabled = false, describedBy, element } = props;
  const newest = useRef(props);
  newest.current = props;
  const fill = useRef<HTMLElement>(null);
  const holding = useSignal(false);
  /** Pressed, and up to now nothing but that. */
  const refused = useRef(false);

  const start = () => {
    if (holding.peek() || disabled) return;
    refused.current = !props.mayStart();
    holding.value = !refused.current;
  };
  const stop = () => {
    refused.current = false;
    holding.value = false;
  };
  const lift = () => {
    const show = refused.current;
    stop();
    if (show) props.instead();
  };

  /** From the first moment on that it can be pressed. */
  useLayoutEffect(
    () =>
      effect(() => {
        if (!seen.value) stop();
        if (!holding.value) return;
        const filling = fill.current?.animate([{ transform: 'scaleX(0)' }, { transform: 'scaleX(1)' }], {
          duration: holdMs,
          fill: 'forwards',
        });
        const timer = setTimeout(() => {
          stop();
          // The part it stands in may have been left meanwhile.
          if (element.current?.getClientRects().length) newest.current.act();
        }, holdMs);
        // Not every browser gives the focus to a button that a pointer presses.
        window.addEventListener('blur', stop);
        return () => {
          window.removeEventListener('blur', stop);
          clearTimeout(timer);
          filling?.cancel();
        };
      }),
    [holdMs],
  );
  useLayoutEffect(() => {
    if (disabled) stop();
  }, [disabled]);

  return (
    <button
      type="button"
      class="hold"
      disabled={disabled}
      aria-describedby={describedBy}
      data-holding={holding.value ? 'true' : undefined}
      ref={element}
      onPointerDown={({ button }) => button === 0 && start()}
      onPointerUp={lift}
      onPointerLeave={stop}
      onPointerCancel={stop}
      onBlur={stop}
      // A program that reads the page aloud presses without pointer or key.
      onClick={({ detail }) => {
        if (detail !== 0 || disabled) return;
        if (props.mayStart()) props.pressed();
        else props.instead();
      }}
      onKeyDown={(event) => {
        if (event.key !== ' ' && event.key !== 'Enter') {
          stop();
          return;
        }
        event.preventDefault();
        if (!event.repeat) start();
      }}
      onKeyUp={(event) => {
        // Some browsers press a button when Space comes up, whatever became of its going down.
        if (event.key === ' ') event.preventDefault();
        lift();
      }}
      // A long touch does not ask for a menu.
      onContextMenu={(event) => event.preventDefault()}
    >
      <i ref={fill} />
      <span>{holding.value ? 'Keep holding…' : label}</span>
    </button>
  );
}
