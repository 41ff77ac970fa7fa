import { signal } from '@preact/signals';
import { render } from 'preact';
import type { Hold, ResistRequest } from '../../client/hold.js';
import { FINGERS, type Finger, type HandSide } from '../../hand/joints.js';
import { createArmButton } from '../arm-button.js';
import { disarm } from '../arming.js';
import { curlOf, stopOf } from '../finger-state.js';
import { type Live, type LiveHand, recordingOf } from '../live.js';
import {
  createServoTrial,
  type ServoResult,
  type ServoTrial,
  STOP_AT,
  type TrialState,
} from '../servo-trial.js';
import { Mounted } from './mounted.js';
import { roleText, verdictText } from './words.js';

const STEP_MS = 50;
/** As hard as a trial asks, of servos that heed it. */
const EFFORT = 0.4;
/** What is in the way for so many steps is not waited for: a sensor that is not believed, another app. */
const PATIENCE = 40;

const PROMPT: Record<TrialState['phase'], (finger: string) => string> = {
  straighten: (finger) => `Straighten the ${finger}.`,
  closeFree: (finger) =>
    `The servo lets go. Close the ${finger}, slowly, as far as it goes, and keep it there.`,
  straightenAgain: (finger) => `Straighten the ${finger} again.`,
  keepStraight: (finger) => `Keep the ${finger} straight: the servo takes its place.`,
  closeHeld: (finger) => `Now close the ${finger} slowly until something stops it, and press on gently.`,
  done: () => '',
};

const percent = (part: number): string => `${Math.round(part * 100)} %`;

const SAYS: Record<ServoResult, (state: TrialState) => string> = {
  moves: () => `✓ Moves: it stops the finger where it should.`,
  offPlace: ({ heldCurl }) =>
    `⚠ Moves, but stopped the finger at ${percent(heldCurl)}, not at ${percent(STOP_AT)}. Try it again, slowly; if it stays so, fit the string stops: tautline fit --actuators.`,
  doesNotMove: () =>
    '⚠ Does not move: nothing stopped the finger. Check its plug, its supply, its place in the profile, and that the string runs over its spool. If it turns, its stops are far off: tautline fit --actuators.',
  wrongWay: () =>
    '⚠ Wrong way: it holds where it should let go. Exchange stopAtOpen and stopAtClosed of it in the profile, or turn its horn.',
  stuck: () =>
    '⚠ The finger did not close, even when free. Take the glove off, and look whether string or servo is jammed.',
  letGo: () => 'Not tried: the service let the finger go meanwhile. See the reason under Fingers and forces.',
  notTried: () => 'Not tried: the finger did not do what was asked.',
};

/** Of the string stops of a hand: one can be tried at a time. */
interface Servo {
  finger: Finger;
  kind: string;
  /** Why it is never used. */
  unused: string | undefined;
}

const servosOf = ({ info }: LiveHand): Servo[] =>
  info.actuators.flatMap(({ role, kind, unused }) =>
    kind !== 'vibration' && (FINGERS as readonly string[]).includes(role)
      ? [{ finger: role as Finger, kind, unused: unused && `${unused.reason}. ${unused.remedy}` }]
      : [],
  );

/** Tries one servo after the other with the wearer's help: moves, does not move, wrong way. */
export interface ServoBench {
  readonly element: HTMLElement;
  /** Another hand. */
  choose(side: HandSide | undefined): void;
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

  function begin(finger: Finger): void {
    problem.value = undefined;
    trial = createServoTrial();
    unbelieved = foreign = 0;
    running.value = { finger, state: { ...trial.state }, curl: undefined };
    clearInterval(timer);
    timer = setInterval(step, STEP_MS);
  }
  function free(): void {
    hold?.release();
    hold = undefined;
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
    if (state.stopAt === undefined) free();
    else if (!hold && side.value) {
      hold = live.client.resist({
        hand: side.value,
        fingers: { [at.finger]: { stopAt: state.stopAt, effort: EFFORT } },
      });
    }
    if (hold?.state === 'refused') {
      stop(hold.error?.message ?? 'The service refused.');
      return;
    }
    const curl = believed ? curlOf(now, f) : undefined;
    // By the clock of the samples: while none come, no finger rests.
    if (now.joints) trial.step(now.joints.timeUs / 1e6, curl, stopOf(now, f));
    if (state.result === undefined) {
      running.value = { finger: at.finger, state: { ...state }, curl };
      return;
    }
    results.value = new Map(results.value).set(at.finger, SAYS[state.result](state));
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
          {PROMPT[state.phase](finger === 'thumb' ? 'thumb' : `${finger} finger`)}
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
        One at a time: the finger closes freely, then against a stop about a third of the way. Your limits
        apply.
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
  live.client.on('resistance', look);
  return {
    element,
    choose(now) {
      if (side.value === now) return;
      stop(undefined);
      results.value = new Map();
      side.value = now;
      look();
    },
    show(shown) {
      look();
      if (shown) return;
      stop(undefined);
      open.value = false;
    },
  };
}
