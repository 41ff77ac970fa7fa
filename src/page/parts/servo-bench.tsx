import { type ReadonlySignal, type Signal, signal, useComputed } from '@preact/signals';
import { createRef, type RefObject } from 'preact';
import type { HandSide } from '../../hand/joints.js';
import { ArmButton, type Arming } from '../arm-button.js';
import type { Live } from '../live.js';
import { createServoSession, type ServoSession } from '../servo-session.js';
import type { Servo } from '../servos.js';
import { SERVO_PROMPT } from './servo-words.js';
import { roleText } from './words.js';

/** Tries one servo after the other with the wearer's help: moves, does not move, wrong way. */
export interface ServoBenchState {
  readonly session: ServoSession;
  readonly isOpen: Signal<boolean>;
  /** How it is armed. */
  readonly arming: Arming;
  readonly element: RefObject<HTMLElement | null>;
  /** Another hand. */
  choose(side: HandSide | undefined): void;
  /** Shows what can be tried. @param isLed from elsewhere: it is scrolled to where it is seen */
  open(isLed: boolean): void;
  /** Leaving frees the finger, and disarms what was armed here. */
  show(shown: boolean): void;
}

export function createServoBench(live: Live): ServoBenchState {
  const session = createServoSession(live);
  const isOpen = signal(false);
  const element = createRef<HTMLElement>();
  const arming: Arming = {
    side: () => session.side.peek(),
    began() {
      session.problem.value = undefined;
    },
    done(why) {
      session.problem.value = why;
      if (why === undefined) session.armed();
    },
  };
  return {
    session,
    isOpen,
    arming,
    element,
    choose: session.choose,
    open(isLed) {
      session.look();
      if (session.isReplay.peek() || session.servos.peek().length === 0) return;
      isOpen.value = true;
      // After it is drawn.
      requestAnimationFrame(() => {
        if (isLed) element.current?.scrollIntoView({ block: 'start' });
        const next = session.isArmed.peek() ? 'button:enabled' : 'button.hold';
        element.current?.querySelector<HTMLElement>(next)?.focus({ preventScroll: true });
      });
    },
    show(shown) {
      session.look();
      if (shown) return;
      session.stop(undefined);
      isOpen.value = false;
    },
  };
}

interface ServoBenchProps {
  bench: ServoBenchState;
  hidden: ReadonlySignal<boolean>;
}

export function ServoBench({ bench: { session, isOpen, arming, element, open }, hidden }: ServoBenchProps) {
  const { isArmed, isReplay, problem } = session;
  return (
    <article class="card servo-bench" hidden={hidden} ref={element}>
      <h3>Try the servos</h3>
      <p class="lead">
        One at a time: the finger closes freely, then against a stop about a third of the way, which then lets
        it go on. Arm, then try one or all; your limits apply.
      </p>
      {problem.value && (
        <p class="remedy" role="alert">
          {problem.value}
        </p>
      )}
      {isOpen.value && <Running session={session} />}
      {isOpen.value && (
        <ul class="servos">
          {session.servos.value.map((servo) => (
            <ServoLine key={servo.finger} servo={servo} session={session} />
          ))}
        </ul>
      )}
      {isOpen.value && !isReplay.value && <ArmButton {...arming} away={isArmed.value} />}
      <div class="actions">
        {isOpen.value ? (
          <button
            type="button"
            class="main"
            disabled={!isArmed.value || session.running.value !== undefined}
            onClick={session.tryAll}
          >
            Try all, one after the other
          </button>
        ) : (
          <button
            type="button"
            class="main big"
            disabled={isReplay.value || session.servos.value.length === 0}
            onClick={() => open(false)}
          >
            Try the servos
          </button>
        )}
      </div>
    </article>
  );
}

/** What the wearer is asked to do, and how far the finger is closed. */
function Running({ session: { running, curl, stop } }: { session: ServoSession }) {
  const closed = useComputed(() => `transform: scaleX(${(curl.value ?? 0).toFixed(3)})`);
  const now = running.value;
  if (!now) return null;
  const { finger, phase, stopAt } = now;
  return (
    <div class="servo-run">
      <p class="lead">{`Trying the servo of: ${roleText(finger).toLowerCase()}`}</p>
      <p class="prompt" aria-live="assertive">
        {SERVO_PROMPT[phase](finger === 'thumb' ? 'thumb' : `${finger} finger`)}
      </p>
      <div class="gauge" aria-hidden="true">
        <i class="fill" style={closed} />
        {stopAt !== undefined && <i class="tick" style={{ left: `${Math.round(stopAt * 100)}%` }} />}
      </div>
      <button type="button" onClick={() => stop('Given up.')}>
        Give up
      </button>
    </div>
  );
}

function ServoLine({ servo: { finger, unused }, session }: { servo: Servo; session: ServoSession }) {
  return (
    <li>
      <strong>{roleText(finger)}</strong>
      <span class="servo-result">
        {unused ? `Stays free: ${unused}` : (session.results.value.get(finger) ?? 'Not tried yet')}
      </span>
      {!unused && (
        <button
          type="button"
          class="small"
          disabled={!session.isArmed.value || session.running.value !== undefined}
          aria-label={`Try the ${finger} servo`}
          onClick={() => session.try(finger)}
        >
          Try
        </button>
      )}
    </li>
  );
}
