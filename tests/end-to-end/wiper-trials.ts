import { FINGERS, type Finger } from '../../src/hand/joints.js';
import { TRACKED } from '../../src/hand/validity.js';
import { random } from '../sensing/glove-signals.js';
import { PHYSICAL_ACTUATOR, PHYSICAL_SAFETY } from './touch-trials.js';
import { startTurnedChain, type TurnedChain, turnedProfile } from './turned-chain.js';

/*
 * A wiper comes off its potentiometer while an app stops the fingers: the firmware's hand with its muscles, strings and
 * servos, and the service's whole chain, in turned time. What is measured is what happens to the finger.
 */

/** How the finger and its stop stand when the wiper comes off. */
export const MOMENTS = {
  /** The finger presses on its stop. */
  pressing: 'the finger presses on its stop',
  /** It had closed beyond where the app wants it: the stop waits just ahead of it. */
  beyond: 'the finger is closed beyond what the app asks for',
  /** It presses; then the app lets go, the finger closes, and the app asks anew. */
  between: 'the finger presses on its stop, the app lets go and asks anew',
  /** It presses, then opens; the wiper comes off on its way, and it closes again. */
  opening: 'the finger opens, and closes again',
  /** It is free and closes; the app asks later. */
  before: 'the finger is free, and closes before the app asks',
} as const;
export type Moment = keyof typeof MOMENTS;

export interface WiperOutcome {
  finger: Finger;
  /** From the break until the firmware has freed the finger, ms; 0: it was not held, infinity: it still is. */
  freedMs: number;
  /** From the break until the finger is shown as inferred, ms. */
  inferredMs: number;
  /** Most that the servo drew the finger open against its muscles, curl. */
  drag: number;
  /** Most that the string pulled with while it did, N. */
  dragN: number;
  /** What the channel is called at the end. */
  verdict: string;
}

export interface WiperTrial {
  moment: Moment;
  finger: number;
  /** Firmware command without the channel, such as `fault open 470`. */
  fault: string;
  /** The wiper makes contact again and again: both last this long at most, ms. */
  flapMs?: number;
}

const STEP_MS = 2;
const LOOK_MS = 6;
const WATCH_MS = 2000;
/** The finger is drawn open if it goes back by more than it gives when it comes to rest, curl. */
const SETTLED_MS = 350;

export async function startWiperBench(seed: number, rateHz = 250): Promise<TurnedChain> {
  const chain = await startTurnedChain({
    profile: turnedProfile('right', PHYSICAL_ACTUATOR, { safety: PHYSICAL_SAFETY }),
    gloveArgs: ['--physics', '--rate', String(rateHz), '--seed', String(seed)],
    stepMs: STEP_MS,
    latencyMs: 3,
  });
  // Alive, as any worn glove is by then.
  for (const curl of [0.8, 0, 0.8, 0]) {
    await chain.step([`grasp ${curl} 4`]);
    await chain.wait(700);
  }
  return chain;
}

/** One break. The glove is whole again, and its hand quite open (or it would be taken for open), when it returns. */
export async function breakWiper(
  { glove, device, clock, step, wait }: TurnedChain,
  { moment, finger, fault, flapMs }: WiperTrial,
  draw: () => number,
): Promise<WiperOutcome> {
  const name = FINGERS[finger];
  const channel = `${name}.curl`;
  const nowMs = () => clock.nowUs() / 1000;
  const body = () => device.ask<{ curl: number; tensionN: number; free: boolean }>(`body ${name}`);
  const stopAt = 0.3 + 0.4 * draw();
  const closed = Math.min(0.95, stopAt + 0.2 + 0.3 * draw());
  const speed = 2 + 4 * draw();
  let asked = false;
  /** Time passes while the app goes on asking. */
  const pass = async (ms: number, each?: () => Promise<void>): Promise<void> => {
    const endMs = nowMs() + ms;
    for (let n = 0; nowMs() < endMs; n++) {
      if (asked && n % 10 === 0) {
        const fingers = Object.fromEntries(FINGERS.map((one) => [one, { stopAt, effort: 1 }]));
        glove.resist('app', { type: 'resist', hand: 'right', fingers, ttlMs: 250 });
      }
      await wait(LOOK_MS);
      await each?.();
    }
  };
  const phaseMs = 40 * draw();

  glove.arm('wearer', 'wearer');
  if (moment === 'pressing' || moment === 'between' || moment === 'opening') {
    asked = true;
    await pass(400);
    await step([`grasp ${closed} ${speed}`]);
    await pass(1100 + phaseMs);
  } else if (moment === 'beyond') {
    await step([`grasp ${closed} ${speed}`]);
    await pass(1000);
    asked = true;
    await pass(500 + phaseMs);
  } else {
    await step([`grasp ${0.6 * stopAt} ${speed}`]);
    await pass(800 + phaseMs);
  }

  if (moment === 'opening') {
    await step([`grasp 0 ${speed}`]);
    await pass(20 + 150 * draw());
  }

  const brokenUs = glove.frame.timeUs;
  const outcome: WiperOutcome = {
    finger: name,
    freedMs: Number.POSITIVE_INFINITY,
    inferredMs: Number.POSITIVE_INFINITY,
    drag: 0,
    dragN: 0,
    verdict: '',
  };
  const unlisten = glove.listen({
    frame({ fingerStates, timeUs }) {
      if (fingerStates[finger] !== TRACKED)
        outcome.inferredMs = Math.min(outcome.inferredMs, (timeUs - brokenUs) / 1000);
    },
  });
  const brokenMs = nowMs();
  await step([`${fault} ${channel}`]);
  let deepest = Number.NaN;
  const look = async (): Promise<void> => {
    const { curl, tensionN, free } = await body();
    if (free) outcome.freedMs = Math.min(outcome.freedMs, nowMs() - brokenMs);
    else if (asked) outcome.freedMs = Number.POSITIVE_INFINITY;
    if (Number.isNaN(deepest)) deepest = curl;
    deepest = Math.max(deepest, curl);
    if (deepest - curl > outcome.drag) {
      outcome.drag = deepest - curl;
      outcome.dragN = Math.max(outcome.dragN, tensionN);
    }
  };
  let turnMs = flapMs === undefined ? Number.POSITIVE_INFINITY : nowMs() + flapMs * draw();
  let off = true;
  const flap = async (): Promise<void> => {
    if (nowMs() < turnMs) return;
    off = !off;
    turnMs = nowMs() + (flapMs ?? 0) * draw();
    await step([`${off ? fault : 'fault none'} ${channel}`]);
  };
  if (moment === 'opening') {
    await pass(250 * draw(), flap);
    await step([`grasp ${closed} ${speed}`]);
    await pass(SETTLED_MS, flap);
    deepest = Number.NaN;
  } else if (moment === 'between') {
    await pass(100 * draw());
    asked = false;
    glove.release('app');
    await pass(600 + 400 * draw());
    deepest = Number.NaN;
    asked = true;
  } else if (moment === 'before') {
    const untilAskedMs = 1000 * draw();
    await step([`grasp ${closed} ${speed}`]);
    await pass(SETTLED_MS + untilAskedMs);
    asked = true;
  }
  await pass(WATCH_MS, async () => {
    await flap();
    await look();
  });
  outcome.verdict = glove.readHealth().channels.find(({ role }) => role === channel)?.verdict ?? '';
  unlisten();

  asked = false;
  glove.release('app');
  await step([`fault none ${channel}`, 'grasp 0 4']);
  await wait(1500);
  for (const curl of [0.8, 0]) {
    await step([`grasp ${curl} 4`]);
    await wait(600);
  }
  await wait(1500);
  return outcome;
}

/** Breaks a finger's wiper over and over, at different curls and phases. */
export async function breakOften(
  trial: WiperTrial,
  times: number,
  seed: number,
  rateHz?: number,
): Promise<WiperOutcome[]> {
  const chain = await startWiperBench(seed, rateHz);
  const draw = random(seed);
  try {
    const outcomes: WiperOutcome[] = [];
    for (let n = 0; n < times; n++) outcomes.push(await breakWiper(chain, trial, draw));
    return outcomes;
  } finally {
    await chain.end();
  }
}
