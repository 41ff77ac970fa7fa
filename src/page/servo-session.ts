import { type ReadonlySignal, type Signal, signal } from '@preact/signals';
import type { Hold, ResistRequest } from '../client/hold.js';
import { FINGERS, type Finger, type HandSide } from '../hand/joints.js';
import { disarm } from './arming.js';
import { limitText } from './event-log.js';
import { curlOf, stopOf } from './finger-state.js';
import { type Live, type LiveHand, recordingOf } from './live.js';
import { servoText } from './parts/servo-words.js';
import { roleText, verdictText } from './parts/words.js';
import { seen } from './seen.js';
import { createServoTrial, type ServoTrial, type TrialState } from './servo-trial.js';
import { type Servo, servosOf } from './servos.js';

const STEP_MS = 50;
/** As hard as a trial asks, of servos that heed it. */
const EFFORT = 0.4;
/** What is in the way for so many steps is not waited for: a sensor that is not believed, another app. */
const PATIENCE = 40;

/** The servo that is tried, and where the trial is. */
export interface RunningTrial extends Pick<TrialState, 'phase' | 'stopAt'> {
  finger: Finger;
}

/** Servos that are tried one after the other, with the wearer's help. What is held is held by this page. */
export interface ServoSession {
  readonly side: ReadonlySignal<HandSide | undefined>;
  readonly servos: ReadonlySignal<readonly Servo[]>;
  readonly isArmed: ReadonlySignal<boolean>;
  readonly isReplay: ReadonlySignal<boolean>;
  readonly running: ReadonlySignal<RunningTrial | undefined>;
  /** Of the finger that is tried, while its sensor is believed. */
  readonly curl: ReadonlySignal<number | undefined>;
  /** What was found of each. */
  readonly results: ReadonlySignal<ReadonlyMap<Finger, string>>;
  /** Why something was refused, or ended early. */
  readonly problem: Signal<string | undefined>;
  /** Another hand. */
  choose(side: HandSide | undefined): void;
  try(finger: Finger): void;
  tryAll(): void;
  /** Frees the finger, and disarms what was armed here. */
  stop(why: string | undefined): void;
  /** It was armed here: for the trials alone. */
  armed(): void;
  /** Looks again at the hand. */
  look(): void;
}

export function createServoSession(live: Live): ServoSession {
  const side = signal<HandSide | undefined>(undefined);
  const isArmed = signal(false);
  const servos = signal<readonly Servo[]>([]);
  const isReplay = signal(false);
  const results = signal<ReadonlyMap<Finger, string>>(new Map());
  const running = signal<RunningTrial | undefined>(undefined);
  const curl = signal<number | undefined>(undefined);
  const problem = signal<string | undefined>(undefined);
  const finger = createHeldFinger(live, () => side.peek());
  let isArmedHere = false;
  let trial: ServoTrial | undefined;
  let timer: ReturnType<typeof setInterval> | undefined;
  /** What the governor stepped in for last, in this trial. */
  let limit: string | undefined;
  let queue: Finger[] = [];
  /** Steps in a row. */
  let unbelieved = 0;
  let foreign = 0;

  const hand = () => {
    const of = side.peek();
    return of && live.hands.get(of);
  };
  const perSOf = (name: Finger) => servos.peek().find((one) => one.finger === name)?.perS;

  function look(): void {
    const now = hand();
    const wasArmed = isArmed.peek();
    isArmed.value = live.connected && now?.armed === true;
    isReplay.value = now !== undefined && recordingOf(now) !== undefined;
    // The answer to arming may come before the stream says so.
    if (wasArmed && !isArmed.peek()) isArmedHere = false;
    const found = now ? servosOf(now) : [];
    if (JSON.stringify(found) !== JSON.stringify(servos.peek())) servos.value = found;
    if (running.peek() && !isArmed.peek()) stop('Disarmed: begin again.');
  }
  function begin(name: Finger): void {
    problem.value = undefined;
    trial = createServoTrial({
      speedCurlPerS: perSOf(name),
      finger: FINGERS.indexOf(name),
      servos: usable().map((one) => FINGERS.indexOf(one)),
    });
    unbelieved = foreign = 0;
    limit = undefined;
    curl.value = undefined;
    running.value = { finger: name, phase: trial.state.phase, stopAt: trial.state.stopAt };
    clearInterval(timer);
    timer = setInterval(step, STEP_MS);
  }
  const usable = () => servos.peek().flatMap(({ finger: name, unused }) => (unused ? [] : [name]));

  function stop(why: string | undefined): void {
    clearInterval(timer);
    finger.free();
    trial = undefined;
    queue = [];
    running.value = undefined;
    if (why !== undefined) problem.value = why;
    // Armed for the trial alone.
    if (isArmedHere) disarm(live);
    isArmedHere = false;
  }

  /** With each sample that is shown, by the clock of the samples: while none come, no finger rests. */
  function feed(): void {
    const now = hand();
    const at = running.peek();
    if (!now?.signals || !at || !trial) return;
    const curls = FINGERS.map((_, f) => knownCurl(now, f));
    trial.step(now.signals.timeUs / 1e6, curls, stopOf(now, FINGERS.indexOf(at.finger)));
    // What follows from it does not wait for the next step.
    finger.place(at.finger, trial.state.stopAt);
  }
  /** Why the trial cannot go on. */
  function obstacle(now: LiveHand, name: Finger): string | undefined {
    const report = now.resistance?.fingers[name];
    // Our own last stop may still be in a report that is on its way.
    const isForeign =
      !finger.isHeld && report?.by !== undefined && stopOf(now, FINGERS.indexOf(name)) !== undefined;
    foreign = isForeign ? foreign + 1 : 0;
    if (foreign > PATIENCE) return `${live.nameOf(report?.by ?? '')} holds the ${name}: end that first.`;
    unbelieved = isBelieved(now, name) ? 0 : unbelieved + 1;
    if (unbelieved > PATIENCE)
      return `The ${name} is not sensed (${whyNotSensed(now, name)}). Check the glove first.`;
    return undefined;
  }
  function step(): void {
    const now = hand();
    const at = running.peek();
    if (!now || !at || !trial) return;
    const { state } = trial;
    const trouble = obstacle(now, at.finger);
    if (trouble === undefined) finger.place(at.finger, state.stopAt);
    const ends = trouble ?? finger.refusal;
    if (ends !== undefined) {
      stop(ends);
      return;
    }
    if (state.result === undefined) {
      curl.value = knownCurl(now, FINGERS.indexOf(at.finger));
      const { phase, stopAt } = state;
      if (phase !== at.phase || stopAt !== at.stopAt) running.value = { finger: at.finger, phase, stopAt };
      return;
    }
    results.value = new Map(results.peek()).set(at.finger, servoText(state, perSOf(at.finger), limit));
    finger.free();
    const next = queue.shift();
    if (next !== undefined) begin(next);
    else stop(undefined);
  }

  live.changed.on(look);
  live.client.on('resistance', ({ hand: of, events = [] }) => {
    look();
    for (const { reason } of of === side.peek() ? events : []) limit = limitText(reason) ?? limit;
  });
  live.client.on('signals', ({ hand: of }) => {
    if (of === side.peek()) feed();
  });
  // Hidden, it hears nothing of the fingers: what it holds would be held until it is seen again.
  seen.subscribe((isSeen) => {
    if (!isSeen && running.peek()) stop('The page was hidden meanwhile: begin again.');
  });

  return {
    side,
    servos,
    isArmed,
    isReplay,
    running,
    curl,
    results,
    problem,
    choose(now) {
      if (side.peek() === now) return;
      stop(undefined);
      results.value = new Map();
      side.value = now;
      look();
    },
    try: begin,
    tryAll() {
      const [first, ...others] = usable();
      if (first === undefined) return;
      begin(first);
      queue = others;
    },
    stop,
    armed() {
      isArmedHere = true;
    },
    look,
  };
}

/** One finger, stopped by this page or free. */
function createHeldFinger(live: Live, side: () => HandSide | undefined) {
  let hold: Hold<Partial<Omit<ResistRequest, 'hand'>>> | undefined;
  /** Where the stop was asked for. */
  let placed: number | undefined;
  function free(): void {
    hold?.release();
    hold = placed = undefined;
  }
  return {
    get isHeld() {
      return hold !== undefined;
    },
    /** Why the service does not hold it. */
    get refusal() {
      return hold?.state === 'refused' ? (hold.error?.message ?? 'The service refused.') : undefined;
    },
    free,
    /** @param stopAt curl; undefined: the finger is to be free */
    place(name: Finger, stopAt: number | undefined): void {
      const hand = side();
      if (stopAt === undefined) free();
      else if (hand) {
        const fingers = { [name]: { stopAt, effort: EFFORT } };
        if (!hold) hold = live.client.resist({ hand, fingers });
        else if (stopAt !== placed) hold.move({ fingers });
        placed = stopAt;
      }
    },
  };
}

const isBelieved = (now: LiveHand, name: Finger): boolean =>
  now.joints?.valid === true && now.joints.fingers[name] === 'tracked';

/** Of a finger whose own sensor is believed. */
const knownCurl = (now: LiveHand, f: number): number | undefined =>
  isBelieved(now, FINGERS[f]) ? curlOf(now, f) : undefined;

function whyNotSensed(now: LiveHand, name: Finger): string {
  const verdicts = (now.health?.channels ?? [])
    .filter(({ role, verdict }) => role.startsWith(`${name}.`) && verdict !== 'healthy')
    .map(({ role, verdict }) => `${roleText(role)}: ${verdictText(verdict).toLowerCase()}`);
  return verdicts.join(', ') || now.joints?.reason || 'its sensor is not believed now';
}
