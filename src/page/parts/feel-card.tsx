import { signal } from '@preact/signals';
import { render } from 'preact';
import { FINGERS, type Finger, type HandSide } from '../../hand/joints.js';
import type { StartingValue } from '../../resistance/starting-values.js';
import { FEELS, type Feel } from '../../resistance/wearer-feel.js';
import { createArmButton } from '../arm-button.js';
import { dialogShown } from '../dialog.js';
import { createFeelSession } from '../feel-session.js';
import { FEEL_MEANING, fromShown, inUseText, shownValue, unitOf, valueText } from '../feel-words.js';
import { characterKeys } from '../keys.js';
import { type Live, recordingOf } from '../live.js';
import { Found, Rounds } from './feel-rounds.js';
import { Mounted } from './mounted.js';
import { roleText, sentence } from './words.js';

const ROUNDS = 4;

/** How forces feel on the wearer's own hand: two settings, compared blind, and the better one kept. */
export interface FeelCard {
  readonly element: HTMLElement;
  /** Another hand. */
  choose(side: HandSide | undefined): void;
  /** Leaving ends a comparison, disarmed. */
  show(shown: boolean): void;
}

/** @param kept what is in use has changed */
export function createFeelCard(live: Live, kept: () => void): FeelCard {
  const element = document.createElement('article');
  element.className = 'card feel-card';
  const side = signal<HandSide | undefined>(undefined);
  const open = signal(false);
  const replay = signal(false);
  const inUse = signal<string | undefined>(undefined);
  const finger = signal<Finger>('index');
  const what = signal<Feel | undefined>(undefined);
  const numbers = signal({ a: '', b: '', rounds: String(ROUNDS) });
  const person = signal('');
  const session = createFeelSession(() => (live.hands.size > 1 ? side.value : undefined));
  const { values, report, problem } = session;

  const { element: armElement } = createArmButton(
    () => side.value,
    () => {
      problem.value = undefined;
    },
    (why) => {
      problem.value = why;
      if (why === undefined) focusOn('.feel-run .first');
    },
  );

  function look(): void {
    const hand = side.value === undefined ? undefined : live.hands.get(side.value);
    replay.value = hand !== undefined && recordingOf(hand) !== undefined;
    inUse.value = inUseText(hand?.info.feel ?? {});
    if (report.value?.state === 'running' && (!live.connected || !hand))
      session.stop('The service went away.');
  }
  const focusOn = (selector: string) => {
    // After what has changed is drawn.
    requestAnimationFrame(() => element.querySelector<HTMLElement>(selector)?.focus());
  };

  /** Of the actuators of a finger: what can be felt there, and why not. */
  const ofFinger = (name: Finger): StartingValue[] => {
    const own = (values.value?.actuators ?? []).filter(({ role }) => role === name);
    return FEELS.flatMap((one) => {
      const all = own.flatMap(({ values: its }) => its).filter(({ what: its }) => its === one);
      return all.find(({ value }) => value !== undefined) ?? all[0] ?? [];
    });
  };
  function take(name: Finger, wanted: Feel | undefined): void {
    finger.value = name;
    const able = ofFinger(name).filter(({ value }) => value !== undefined);
    const one = able.find(({ what: its }) => its === wanted) ?? able[0];
    what.value = one?.what;
    if (one?.value === undefined || one.against === undefined) return;
    numbers.value = {
      ...numbers.value,
      a: String(shownValue(one.what, one.value)),
      b: String(shownValue(one.what, one.against)),
    };
  }
  async function start(): Promise<void> {
    open.value = true;
    await session.read();
    const found = FINGERS.filter((name) => ofFinger(name).length > 0);
    const first = found.includes(finger.value) ? finger.value : found[0];
    if (first) take(first, what.value);
    focusOn('.feel-setup input');
  }
  async function begin(): Promise<void> {
    if (what.value === undefined) return;
    const { a, b, rounds } = numbers.value;
    await session.begin({
      what: what.value,
      finger: finger.value,
      a: fromShown(what.value, Number(a)),
      b: fromShown(what.value, Number(b)),
      rounds: Number(rounds),
      person: person.value.trim(),
    });
    if (report.value) focusOn('.feel-run .hold');
  }
  async function choose(which: 'first' | 'second' | 'same'): Promise<void> {
    const before = report.value?.trial?.round;
    await session.choose(which);
    if (report.value?.state === 'done') focusOn('.feel-found');
    else if (report.value?.trial?.round !== before) focusOn('.feel-run .first');
  }

  const Number_ = ({ name, label, unit }: { name: 'a' | 'b' | 'rounds'; label: string; unit?: string }) => (
    <label class="feel-number">
      <span>{label}</span>
      <input
        type="text"
        inputMode="decimal"
        autocomplete="off"
        value={numbers.value[name]}
        onInput={({ currentTarget: { value } }) => {
          numbers.value = { ...numbers.value, [name]: value.replace(',', '.') };
        }}
      />
      <span>{unit ?? ''}</span>
    </label>
  );
  const Setup = () => {
    const fingers = FINGERS.filter((name) => ofFinger(name).length > 0);
    if (values.value === undefined) return <p class="lead">Asking the service…</p>;
    if (fingers.length === 0) return <p class="lead">Nothing acts on a finger of this glove.</p>;
    return (
      <form
        class="feel-setup"
        onSubmit={(event) => {
          event.preventDefault();
          void begin();
        }}
      >
        <fieldset class="choice">
          <legend>On which finger</legend>
          {fingers.map((name) => (
            <label key={name}>
              <input
                type="radio"
                name="feel-finger"
                checked={finger.value === name}
                onChange={() => take(name, what.value)}
              />
              <span>{roleText(name)}</span>
            </label>
          ))}
        </fieldset>
        <fieldset class="feel-what">
          <legend>What to compare</legend>
          {ofFinger(finger.value).map(({ what: one, value, against, why }) => (
            <label key={one} data-able={String(value !== undefined)}>
              <input
                type="radio"
                name="feel-what"
                disabled={value === undefined}
                checked={what.value === one}
                onChange={() => take(finger.value, one)}
              />
              <span>
                <strong>{roleText(one)}</strong>, {FEEL_MEANING[one]}.{' '}
                <span class="why">
                  {value === undefined || against === undefined
                    ? `Not with this actuator: ${sentence(why)}`
                    : `Begin with ${shownValue(one, value)} against ${valueText(one, against)}. ${sentence(why)}`}
                </span>
              </span>
            </label>
          ))}
        </fieldset>
        {what.value && (
          <div class="feel-numbers">
            <Number_ name="a" label="One" unit={unitOf(what.value)} />
            <Number_ name="b" label="The other" unit={unitOf(what.value)} />
            <Number_ name="rounds" label="Rounds" />
          </div>
        )}
        <label class="feel-person">
          <span>Whose hand (may be left out)</span>
          <input
            type="text"
            maxLength={40}
            autocomplete="off"
            value={person.value}
            onInput={({ currentTarget: { value } }) => {
              person.value = value;
            }}
          />
        </label>
        <div class="actions">
          <button type="submit" class="main" disabled={what.value === undefined}>
            Begin
          </button>
          <button
            type="button"
            onClick={() => {
              open.value = false;
              problem.value = undefined;
            }}
          >
            Close
          </button>
        </div>
      </form>
    );
  };
  const Card = () => {
    const now = report.value;
    const running = now?.state === 'running' && now.trial !== undefined;
    return (
      <>
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
        {running && now.trial && (
          <Rounds
            trial={now.trial}
            armed={now.armed}
            arm={<Mounted child={armElement} />}
            show={(which) => void session.show(which)}
            choose={(which) => void choose(which)}
            stop={() => {
              session.stop('Given up: nothing was changed.');
              focusOn('.feel-setup [type=submit]');
            }}
          />
        )}
        {now?.state === 'done' && now.found && (
          <Found
            found={now.found}
            keep={async (which) => {
              await session.keep(which);
              kept();
              focusOn('.feel-found');
            }}
            undo={async () => {
              await session.undo();
              kept();
              focusOn('.feel-setup [type=submit]');
            }}
            close={() => {
              session.forget();
              focusOn('.feel-setup [type=submit]');
            }}
          />
        )}
        {open.value && now === undefined && <Setup />}
        {!open.value && (
          <div class="actions">
            <button type="button" class="main big" disabled={replay.value} onClick={() => void start()}>
              Compare how forces feel
            </button>
          </div>
        )}
      </>
    );
  };
  render(<Card />, element);

  /** While a comparison runs, these keys are its own; elsewhere digits choose a part. */
  window.addEventListener(
    'keydown',
    (event) => {
      if (report.value?.state !== 'running' || !characterKeys() || dialogShown()) return;
      if (event.ctrlKey || event.metaKey || event.altKey || event.repeat) return;
      if (event.key === '1') void session.show('first');
      else if (event.key === '2') void session.show('second');
      else if (event.key === '=') void choose('same');
      else return;
      event.stopPropagation();
      event.preventDefault();
    },
    { capture: true },
  );
  window.addEventListener('pagehide', () => session.stop());
  live.changed.on(look);
  return {
    element,
    choose(now) {
      if (side.value === now) return;
      session.stop();
      session.forget();
      values.value = undefined;
      open.value = false;
      side.value = now;
      look();
    },
    show(shown) {
      look();
      if (shown) {
        void session.read();
        return;
      }
      session.stop();
      session.forget();
      open.value = false;
    },
  };
}
