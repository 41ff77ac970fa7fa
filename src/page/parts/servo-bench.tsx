import { signal } from '@preact/signals';
import { render } from 'preact';
import type { Hold, ResistRequest } from '../../client/hold.js';
import { FINGERS, type Finger, type HandSide } from '../../hand/joints.js';
import { createArmButton } from '../arm-button.js';
import { disarm } from '../arming.js';
import { limitText } from '../event-log.js';
import { curlOf, stopOf } from '../finger-state.js';
import { type Live, type LiveHand, recordingOf } from '../live.js';
import { seen } from '../seen.js';
import { createServoTrial, type ServoTrial, type TrialState } from '../servo-trial.js';
import { Mounted } from './mounted.js';
import { SERVO_PROMPT, servoText } from './servo-words.js';
import { roleText, verdictText } from './words.js';

const STEP_MS = 50;
/** As hard as a trial asks, of servos that heed it. */
const EFFORT = 0.4;
/** What is in the way for so many steps is not waited for: a sensor that is not believed, another app. */
const PATIENCE = 40;

const percent = (part: number): string => `${Math.round(part * 100)} %`;

/** Of the string stops of a hand: one can be tried at a time. */
interface Servo {
  finger: Finger;
  kind: string;
  /** Of the profile, curl/s. */
  perS: number | undefined;
  /** Why it is never used. */
  unused: string | undefined;
}

const servosOf = ({ info }: LiveHand): Servo[] =>
  info.actuators.flatMap(({ role, kind, speedCurlPerS, unused }) =>
    kind !== 'vibration' && (FINGERS as readonly string[]).includes(role)
      ? [
          {
            finger: role as Finger,
            kind,
            perS: speedCurlPerS,
            unused: unused && `${unused.reason}. ${unused.remedy}`,
          },
        ]
      : [],
  );

/** Tries one servo after the other with the wearer's help: moves, does not move, wrong way. */
export interface ServoBench {
  readonly element: HTMLElement;
  /** Another hand. */
  choose(side: HandSide | undefined): void;
  /** Shows what can be tried, where it is seen. */
  open(): void;
  /** Leaving frees the finger, and disarms what was armed here. */
  show(shown: boolean): void;
}

export function createServoBench(live: Live): ServoBench {
  const element = document.createElement('article');
  element.className = 'card servo-bench';
  const open = signal(false);
  const side = signal<HandSide | undefined>(undefined);
  const armed = signal(false);
  const servos = signal<readonly Servo[]>([]);
  const replay = signal(false);
  const results = signal<ReadonlyMap<Finger, string>>(new Map());
  const running = signal<{ finger: Finger; state: TrialState; curl: number | undefined } | undefined>(
    undefined,
  );
  const problem = signal<string | undefined>(undefined);
  let armedHere = false;
  let trial: ServoTrial | undefined;
  let hold: Hold<Partial<Omit<ResistRequest, 'hand'>>> | undefined;
  let timer: ReturnType<typeof setInterval> | undefined;
  /** What the governor stepped in for last, in this trial. */
  let limit: string | undefined;
  /** Where the stop was asked for. */
  let placed: number | undefined;
  let queue: Finger[] = [];
  /** Steps in a row. */
  let unbelieved = 0;
  let foreign = 0;

  const { element: armElement } = createArmButton(
    () => side.value,
    () => {
      problem.value = undefined;
    },
    (why) => {
      problem.value = why;
      if (why === undefined) armedHere = true;
    },
  );
  const hand = () => (side.value === undefined ? undefined : live.hands.get(side.value));

  function look(): void {
    const now = hand();
    const wasArmed = armed.value;
    armed.value = live.connected && now?.armed === true;
    replay.value = now !== undefined && recordingOf(now) !== undefined;
    // The answer to arming may come before the stream says so.
    if (wasArmed && !armed.value) armedHere = false;
    const found = now ? servosOf(now) : [];
    if (JSON.stringify(found) !== JSON.stringify(servos.value)) servos.value = found;
    if (running.value && !armed.value) stop('Disarmed: begin again.');
  }

  const perSOf = (finger: Finger) => servos.value.find((one) => one.finger === finger)?.perS;
  function begin(finger: Finger): void {
    problem.value = undefined;
    trial = createServoTrial({
      speedCurlPerS: perSOf(finger),
      finger: FINGERS.indexOf(finger),
      servos: servos.value.filter(({ unused }) => !unused).map(({ finger: one }) => FINGERS.indexOf(one)),
    });
    unbelieved = foreign = 0;
    limit = undefined;
    running.value = { finger, state: { ...trial.state }, curl: undefined };
    clearInterval(timer);
    timer = setInterval(step, STEP_MS);
  }
  function free(): void {
    hold?.release();
    hold = placed = undefined;
  }
  function stop(why: string | undefined): void {
    clearInterval(timer);
    free();
    trial = undefined;
    queue = [];
    running.value = undefined;
    if (why !== undefined) problem.value = why;
    leave();
  }

  /** Of a finger whose own sensor is believed. */
  const knownCurl = (now: LiveHand, f: number): number | undefined =>
    now.joints?.valid === true && now.joints.fingers[FINGERS[f]] === 'tracked' ? curlOf(now, f) : undefined;
  /** With each sample that is shown, by the clock of the samples: while none come, no finger rests. */
  function feed(): void {
    const now = hand();
    const at = running.value;
    if (!now?.signals || !at || !trial) return;
    const curls = FINGERS.map((_, f) => knownCurl(now, f));
    trial.step(now.signals.timeUs / 1e6, curls, stopOf(now, FINGERS.indexOf(at.finger)));
    // What follows from it does not wait for the next step.
    if (trial.state.stopAt !== placed) place(at.finger, trial.state.stopAt);
  }
  function place(finger: Finger, stopAt: number | undefined): void {
    if (stopAt === undefined) free();
    else if (side.value) {
      const fingers = { [finger]: { stopAt, effort: EFFORT } };
      if (!hold) hold = live.client.resist({ hand: side.value, fingers });
      else if (stopAt !== placed) hold.move({ fingers });
      placed = stopAt;
    }
  }

  function step(): void {
    const now = hand();
    const at = running.value;
    if (!now || !at || !trial) return;
    const f = FINGERS.indexOf(at.finger);
    const report = now.resistance?.fingers[at.finger];
    // Our own last stop may still be in a report that is on its way.
    const isForeign = hold === undefined && report?.by !== undefined && stopOf(now, f) !== undefined;
    foreign = isForeign ? foreign + 1 : 0;
    if (foreign > PATIENCE) {
      stop(`${live.nameOf(report?.by ?? '')} holds the ${at.finger}: end that first.`);
      return;
    }
    const believed = now.joints?.valid === true && now.joints.fingers[at.finger] === 'tracked';
    unbelieved = believed ? 0 : unbelieved + 1;
    if (unbelieved > PATIENCE) {
      const verdicts = (now.health?.channels ?? [])
        .filter(({ role, verdict }) => role.startsWith(`${at.finger}.`) && verdict !== 'healthy')
        .map(({ role, verdict }) => `${roleText(role)}: ${verdictText(verdict).toLowerCase()}`);
      const why = verdicts.join(', ') || now.joints?.reason || 'its sensor is not believed now';
      stop(`The ${at.finger} is not sensed (${why}). Check the glove first.`);
      return;
    }
    const { state } = trial;
    place(at.finger, state.stopAt);
    if (hold?.state === 'refused') {
      stop(hold.error?.message ?? 'The service refused.');
      return;
    }
    if (state.result === undefined) {
      running.value = { finger: at.finger, state: { ...state }, curl: knownCurl(now, f) };
      return;
    }
    results.value = new Map(results.value).set(at.finger, servoText(state, perSOf(at.finger), limit));
    free();
    const next = queue.shift();
    if (next !== undefined) begin(next);
    else stop(undefined);
  }
  /** Armed for the trial alone. */
  function leave(): void {
    if (armedHere) disarm(live);
    armedHere = false;
  }

  const Running = () => {
    const now = running.value;
    if (!now) return null;
    const { finger, state, curl } = now;
    return (
      <div class="servo-run">
        <p class="lead">{`Trying the servo of: ${roleText(finger).toLowerCase()}`}</p>
        <p class="prompt" aria-live="assertive">
          {SERVO_PROMPT[state.phase](finger === 'thumb' ? 'thumb' : `${finger} finger`)}
        </p>
        <div class="gauge" aria-hidden="true">
          <i class="fill" style={{ transform: `scaleX(${(curl ?? 0).toFixed(3)})` }} />
          {state.stopAt !== undefined && <i class="tick" style={{ left: percent(state.stopAt) }} />}
        </div>
        <button type="button" onClick={() => stop('Given up.')}>
          Give up
        </button>
      </div>
    );
  };
  const List = () => (
    <ul class="servos">
      {servos.value.map(({ finger, unused }) => (
        <li key={finger}>
          <strong>{roleText(finger)}</strong>
          <span class="servo-result">
            {unused ? `Stays free: ${unused}` : (results.value.get(finger) ?? 'Not tried yet')}
          </span>
          {!unused && (
            <button
              type="button"
              class="small"
              disabled={!armed.value || running.value !== undefined}
              aria-label={`Try the ${finger} servo`}
              onClick={() => begin(finger)}
            >
              Try
            </button>
          )}
        </li>
      ))}
    </ul>
  );
  const Card = () => (
    <>
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
      {open.value && <Running />}
      {open.value && <List />}
      {open.value && !armed.value && !replay.value && <Mounted child={armElement} />}
      <div class="actions">
        {open.value ? (
          <button
            type="button"
            class="main"
            disabled={!armed.value || running.value !== undefined}
            onClick={() => {
              const [first, ...others] = servos.value
                .filter(({ unused }) => !unused)
                .map(({ finger }) => finger);
              if (first === undefined) return;
              begin(first);
              queue = others;
            }}
          >
            Try all, one after the other
          </button>
        ) : (
          <button
            type="button"
            class="main big"
            disabled={replay.value || servos.value.length === 0}
            onClick={() => {
              open.value = true;
            }}
          >
            Try the servos
          </button>
        )}
      </div>
    </>
  );
  render(<Card />, element);
  live.changed.on(look);
  live.client.on('resistance', ({ hand: of, events = [] }) => {
    look();
    for (const { reason } of of === side.value ? events : []) limit = limitText(reason) ?? limit;
  });
  live.client.on('signals', ({ hand: of }) => {
    if (of === side.value) feed();
  });
  // Hidden, it hears nothing of the fingers: what it holds would be held until it is seen again.
  seen.subscribe((isSeen) => {
    if (!isSeen && running.value) stop('The page was hidden meanwhile: begin again.');
  });
  return {
    element,
    choose(now) {
      if (side.value === now) return;
      stop(undefined);
      results.value = new Map();
      side.value = now;
      look();
    },
    open() {
      look();
      if (replay.value || servos.value.length === 0) return;
      open.value = true;
      // After it is drawn.
      requestAnimationFrame(() => {
        element.scrollIntoView({ block: 'start' });
        const next = armed.value ? 'button:enabled' : 'button.hold';
        element.querySelector<HTMLElement>(next)?.focus({ preventScroll: true });
      });
    },
    show(shown) {
      look();
      if (shown) return;
      stop(undefined);
      open.value = false;
    },
  };
}
