import { type ReadonlySignal, type Signal, signal } from '@preact/signals';
import { createRef, type RefObject } from 'preact';
import type { HandSide } from '../../hand/joints.js';
import { ArmButton, type Arming } from '../arm-button.js';
import { dialogShown } from '../dialog.js';
import { createFeelChoice, type FeelChoice } from '../feel-choice.js';
import { createFeelSession, type FeelSession } from '../feel-session.js';
import { inUseText } from '../feel-words.js';
import { characterKeys } from '../keys.js';
import { type Live, recordingOf } from '../live.js';
import { Found, Rounds } from './feel-rounds.js';
import { FeelSetup } from './feel-setup.js';

/** How forces feel on the wearer's own hand: two settings, compared blind, and the better one kept. */
export interface FeelState {
  readonly session: FeelSession;
  readonly choice: FeelChoice;
  readonly isOpen: Signal<boolean>;
  readonly isReplay: ReadonlySignal<boolean>;
  /** What of the wearer's own is in use. */
  readonly inUse: ReadonlySignal<string | undefined>;
  /** How it is armed. */
  readonly arming: Arming;
  readonly element: RefObject<HTMLElement | null>;
  start(): Promise<void>;
  begin(): Promise<void>;
  prefer(which: 'first' | 'second' | 'same'): Promise<void>;
  keep(which: 'a' | 'b'): Promise<void>;
  undo(): Promise<void>;
  /** After what has changed is drawn. */
  focusOn(selector: string): void;
  /** Another hand. */
  choose(side: HandSide | undefined): void;
  /** Leaving ends a comparison, disarmed. */
  show(shown: boolean): void;
}

/** @param kept what is in use has changed */
export function createFeelState(live: Live, kept: () => void): FeelState {
  const side = signal<HandSide | undefined>(undefined);
  const isOpen = signal(false);
  const isReplay = signal(false);
  const inUse = signal<string | undefined>(undefined);
  const element = createRef<HTMLElement>();
  const session = createFeelSession(() => (live.hands.size > 1 ? side.peek() : undefined));
  const { values, report, problem } = session;
  const choice = createFeelChoice(values);

  const arming: Arming = {
    side: () => side.peek(),
    began() {
      problem.value = undefined;
    },
    done(why) {
      problem.value = why;
      if (why === undefined) focusOn('.feel-run .first');
    },
  };
  function look(): void {
    const hand = side.peek() && live.hands.get(side.peek() as HandSide);
    isReplay.value = hand !== undefined && recordingOf(hand) !== undefined;
    inUse.value = inUseText(hand?.info.feel ?? {});
    if (report.peek()?.state === 'running' && (!live.connected || !hand))
      session.stop('The service went away.');
  }
  function focusOn(selector: string): void {
    requestAnimationFrame(() => element.current?.querySelector<HTMLElement>(selector)?.focus());
  }
  function putAway(): void {
    session.stop();
    session.forget();
    isOpen.value = false;
  }
  const state: FeelState = {
    session,
    choice,
    isOpen,
    isReplay,
    inUse,
    arming,
    element,
    async start() {
      isOpen.value = true;
      await session.read();
      choice.start();
      focusOn('.feel-setup input');
    },
    async begin() {
      const wish = choice.wish();
      if (!wish) return;
      await session.begin(wish);
      if (report.peek()) focusOn('.feel-run .hold');
    },
    async prefer(which) {
      const before = report.peek()?.trial?.round;
      await session.choose(which);
      if (report.peek()?.state === 'done') focusOn('.feel-found');
      else if (report.peek()?.trial?.round !== before) focusOn('.feel-run .first');
    },
    async keep(which) {
      await session.keep(which);
      kept();
      focusOn('.feel-found');
    },
    async undo() {
      await session.undo();
      kept();
      focusOn(report.peek() ? '.feel-found' : '.feel-setup [type=submit]');
    },
    focusOn,
    choose(now) {
      if (side.peek() === now) return;
      putAway();
      values.value = undefined;
      side.value = now;
      look();
    },
    show(shown) {
      look();
      if (shown) void session.read();
      else putAway();
    },
  };
  live.changed.on(look);
  window.addEventListener('pagehide', () => session.stop());
  takeKeys(state);
  return state;
}

/** While a comparison runs, these keys are its own; elsewhere digits choose a part. */
function takeKeys({ session, prefer }: FeelState): void {
  window.addEventListener(
    'keydown',
    (event) => {
      if (session.report.peek()?.state !== 'running' || !characterKeys() || dialogShown()) return;
      if (event.ctrlKey || event.metaKey || event.altKey || event.repeat) return;
      if (event.key === '1') void session.show('first');
      else if (event.key === '2') void session.show('second');
      else if (event.key === '=') void prefer('same');
      else return;
      event.stopPropagation();
      event.preventDefault();
    },
    { capture: true },
  );
}

interface FeelCardProps {
  state: FeelState;
  hidden: ReadonlySignal<boolean>;
}

export function FeelCard({ state, hidden }: FeelCardProps) {
  const { session, isOpen, isReplay, inUse, element } = state;
  const { values, problem } = session;
  return (
    <article class="card feel-card" hidden={hidden} ref={element}>
      <h3>How forces feel</h3>
      <p class="lead">
        {inUse.value
          ? `In use${values.value?.person ? ` for ${values.value.person}` : ''}: ${inUse.value}.`
          : 'Feel two settings in turn, without knowing which is which, and keep the better one. It takes away from what apps ask for, and never adds to it.'}
      </p>
      {problem.value && (
        <p class="remedy" role="alert">
          {problem.value}
        </p>
      )}
      <Comparison state={state} />
      {!isOpen.value && (
        <div class="actions">
          <button type="button" class="main big" disabled={isReplay.value} onClick={() => void state.start()}>
            Compare how forces feel
          </button>
        </div>
      )}
    </article>
  );
}

/** The comparison: what of, under way, or what was what. */
function Comparison({ state }: Pick<FeelCardProps, 'state'>) {
  const { session, choice, isOpen, arming, focusOn } = state;
  const { values, report, problem } = session;
  const now = report.value;
  if (now?.state === 'running' && now.trial) {
    return (
      <Rounds
        trial={now.trial}
        armed={now.armed}
        arm={<ArmButton {...arming} />}
        show={(which) => void session.show(which)}
        choose={(which) => void state.prefer(which)}
        stop={() => {
          session.stop('Given up: nothing was changed.');
          focusOn('.feel-setup [type=submit]');
        }}
      />
    );
  }
  if (now?.state === 'done' && now.found) {
    return (
      <Found
        found={now.found}
        keep={(which) => void state.keep(which)}
        undo={() => void state.undo()}
        close={() => {
          session.forget();
          focusOn('.feel-setup [type=submit]');
        }}
      />
    );
  }
  if (!isOpen.value || now !== undefined) return null;
  if (values.value === undefined) return <p class="lead">Asking the service…</p>;
  return (
    <FeelSetup
      choice={choice}
      begin={() => void state.begin()}
      close={() => {
        isOpen.value = false;
        problem.value = undefined;
      }}
    />
  );
}
