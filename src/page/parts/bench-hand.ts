import { batch, type ReadonlySignal, signal } from '@preact/signals';
import type { Finger, HandSide } from '../../hand/joints.js';
import type { DelaySummary, Delays } from '../delays.js';
import { type Fault, faultsOf } from '../faults.js';
import { isSimulated, type Live, type LiveHand, recordingOf } from '../live.js';
import { type ChannelLine, createChannelLine } from './channel-line.js';
import { createFingers, type Fingers } from './finger-table.js';
import { createInputs, type Inputs } from './input-tester.js';
import { type LinkReport, linkReport } from './link-facts.js';
import { unusedText } from './unused-list.js';
import { sideText } from './words.js';
import { wristText } from './wrist-note.js';

/** Of a converter of which nothing is known. */
const USUAL_BITS = 12;
const NOTHING_COMES = 'Not now: nothing comes from the glove';
const NO_ANSWER = 'Not now: the service does not answer';
/** A delay stays as long as it is found within this of what is shown, and within what the clocks are known to, ms. */
const STEADY_MS = 0.3;

/** What the bench says of a hand. */
export interface BenchHand {
  readonly side: HandSide;
  readonly name: ReadonlySignal<string>;
  /** What is amiss as a whole, or that nothing is. */
  readonly state: ReadonlySignal<string>;
  /** Of a replay, whose it is; empty otherwise. */
  readonly played: ReadonlySignal<string>;
  /** Nothing comes from the glove, or from the service. */
  readonly isSilent: ReadonlySignal<boolean>;
  /** Nobody wears it, and it stands in for one that somebody could. */
  readonly standsIn: ReadonlySignal<boolean>;
  /** What can be looked for: sensors that a check finds, servos that are tried. */
  readonly canCheck: ReadonlySignal<boolean>;
  readonly canTry: ReadonlySignal<boolean>;
  /** Why neither can be done now; empty: they can. */
  readonly notNow: ReadonlySignal<string>;
  readonly faults: ReadonlySignal<readonly Fault[]>;
  readonly lines: ReadonlySignal<readonly ChannelLine[]>;
  readonly fingers: Fingers;
  readonly inputs: Inputs;
  /** Why fingers stay free, a line each. */
  readonly unused: ReadonlySignal<string>;
  readonly link: ReadonlySignal<LinkReport | undefined>;
  /** Where the hand is placed from; undefined where it is not. */
  readonly wrist: ReadonlySignal<string | undefined>;
  update(hand: LiveHand): void;
}

export function createBenchHand(live: Live, delays: Delays, side: HandSide): BenchHand {
  const name = signal(sideText(side));
  const state = signal('');
  const played = signal('');
  const isSilent = signal(false);
  const notNow = signal('');
  const [standsIn, canCheck, canTry] = [signal(false), signal(false), signal(false)];
  const faults = signal<readonly Fault[]>([]);
  const lines = signal<readonly ChannelLine[]>([]);
  const fingers = createFingers(live);
  const inputs = createInputs();
  const unused = signal('');
  const link = signal<LinkReport | undefined>(undefined);
  const wrist = signal<string | undefined>(undefined);
  let delay: DelaySummary | undefined;
  let said = '';
  let roles = '';

  function update(hand: LiveHand): void {
    const { info, health, joints } = hand;
    const recording = recordingOf(hand);
    name.value = `${sideText(side)}: ${recording === undefined ? info.name : `replay of ${recording}`}`;
    played.value =
      recording === undefined
        ? ''
        : `Recorded with ${info.name}. Nothing can be felt: forces are not possible.`;
    const silent = !live.connected || health?.link.state !== 'live' || health.rateHz === 0;
    isSilent.value = silent;
    notNow.value = !silent ? '' : live.connected ? NOTHING_COMES : NO_ANSWER;
    // There is nothing to find in a recording, or in one that moves by itself.
    canCheck.value = recording === undefined && !isSimulated(hand);
    canTry.value = canCheck.peek() && info.actuators.some(({ kind }) => kind !== 'vibration');
    standsIn.value = live.connected && isSimulated(hand) && recording === undefined;
    // What is not known now is not said to be a fault of the glove.
    const wrong = live.connected ? faultsOf(hand) : [];
    const key = JSON.stringify(wrong);
    if (key !== said) {
      said = key;
      faults.value = wrong;
    }
    if (!live.connected) state.value = 'The service does not answer; this is the last pose it sent.';
    else if (!joints) state.value = health?.link.reason ? '' : 'Waiting for the first pose.';
    else if (!joints.valid)
      state.value = wrong.length > 0 ? '' : (joints.reason ?? 'The glove sends nothing.');
    else state.value = wrong.length === 0 ? 'No fault seen.' : '';
    fingers.update(hand);
    unused.value = unusedText(hand);
    inputs.update(silent ? { ...hand, inputs: undefined } : hand);
    const found = silent ? undefined : delays.summary(side);
    const isNear =
      delay && found && Math.abs(found.medianMs - delay.medianMs) <= Math.min(STEADY_MS, found.errorMs);
    if (!isNear) delay = found;
    link.value = linkReport(hand, delay) ?? link.peek();
    wrist.value = wristText(hand);

    const channels = health?.channels ?? [];
    const now = channels.map(({ role }) => role).join();
    if (now !== roles) {
      roles = now;
      lines.value = channels.map(({ role }) =>
        createChannelLine(role, info.channels.find((channel) => channel.role === role)?.bits ?? USUAL_BITS),
      );
    }
    channels.forEach((channel, i) => {
      const finger = channel.role.split('.')[0] as Finger;
      lines.peek()[i].judge(channel, silent, joints?.valid === true && joints.fingers[finger] === 'inferred');
    });
  }

  return {
    side,
    name,
    state,
    played,
    isSilent,
    standsIn,
    canCheck,
    canTry,
    notNow,
    faults,
    lines,
    fingers,
    inputs,
    unused,
    link,
    wrist,
    update: (hand) => batch(() => update(hand)),
  };
}
