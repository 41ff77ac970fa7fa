import { expect, it } from 'vitest';
import { FINGERS, type Finger } from '../../src/hand/joints.js';
import { TRACKED } from '../../src/hand/validity.js';
import { servoText } from '../../src/page/parts/servo-words.js';
import { createServoTrial, type TrialState } from '../../src/page/servo-trial.js';
import { PHYSICAL_ACTUATOR, PHYSICAL_SAFETY } from './touch-trials.js';
import { startTurnedChain, type TurnedChain, turnedProfile } from './turned-chain.js';

/*
 * What the servo bench finds of servos with faults: the real firmware with muscles, strings and servos that have mass and
 * limits (src/firmware/README.md), through the service's whole chain and its governor, with time turned by hand.
 */

const STEP_MS = 4;
const SAMPLE_MS = 1000 / 60;
const RENEW_MS = 60;
/** A second or two from straight to a fist, as one moves who is asked to go slowly. */
const SLOWLY = 1.2;

const wish = (fingers: readonly string[], curl: number): string[] =>
  fingers.map((finger) => `intend ${finger} ${curl} ${SLOWLY}`);

/** What the wearer does in each phase. */
function movesOf({ phase }: TrialState, finger: Finger): string[] {
  const others = FINGERS.filter((one) => one !== finger);
  if (phase === 'closeOthers') return wish(others, 1);
  if (phase === 'straightenAll') return wish(FINGERS, 0);
  if (phase === 'closeFree' || phase === 'closeHeld') return wish([finger], 1);
  return phase.startsWith('straighten') ? wish([finger], 0) : [];
}

/** One trial, as the page makes it. */
async function tryServo(chain: TurnedChain, finger: Finger): Promise<TrialState> {
  const { glove } = chain;
  const trial = createServoTrial({
    speedCurlPerS: PHYSICAL_ACTUATOR.speedCurlPerS,
    finger: FINGERS.indexOf(finger),
    servos: FINGERS.map((_, f) => f),
  });
  let asked = '';
  let [sampleMs, renewMs] = [0, 0];
  for (let ms = 0; trial.state.result === undefined; ms += STEP_MS) {
    if (ms > 200_000) throw new Error(`it does not end: ${JSON.stringify(trial.state)}`);
    const { phase, stopAt } = trial.state;
    if (stopAt === undefined) {
      if (renewMs > 0) glove.release('page');
      renewMs = 0;
    } else if (phase !== asked || ms >= renewMs) {
      const fingers = { [finger]: { stopAt, effort: 0.4 } };
      const refusal = glove.resist('page', { type: 'resist', hand: 'right', fingers, ttlMs: 250 });
      if (refusal) throw new Error(refusal.message);
      renewMs = ms + RENEW_MS;
    }
    await chain.step(phase === asked ? [] : movesOf(trial.state, finger));
    asked = phase;
    if (ms < sampleMs) continue;
    sampleMs += SAMPLE_MS;
    const { timeUs, curls } = glove.readSignals();
    const known = curls.map((curl, f) => (glove.frame.fingerStates[f] === TRACKED ? curl : undefined));
    const stop = glove.readResistance().fingers[finger]?.stopAt;
    trial.step(timeUs / 1e6, known, stop);
  }
  glove.release('page');
  await chain.step(wish(FINGERS, 0));
  await chain.wait(1500);
  return trial.state;
}

async function withServos<T>(faults: readonly string[], act: (chain: TurnedChain) => Promise<T>): Promise<T> {
  const chain = await startTurnedChain({
    profile: turnedProfile('right', PHYSICAL_ACTUATOR, { safety: PHYSICAL_SAFETY }),
    gloveArgs: ['--physics', '--rate', '200'],
    stepMs: STEP_MS,
  });
  try {
    for (const fault of faults) await chain.device.command(fault);
    chain.glove.arm('wearer', 'wearer');
    return await act(chain);
  } finally {
    await chain.end();
  }
}
const find = async (fault: string | undefined, finger: Finger): Promise<TrialState & { says: string }> => {
  const state = await withServos(fault === undefined ? [] : [fault], (chain) => tryServo(chain, finger));
  return { ...state, says: servoText(state, PHYSICAL_ACTUATOR.speedCurlPerS) };
};

it('finds that sound servos move, within 4 % of where they should stop, and at what pace', async () => {
  for (const finger of FINGERS) {
    const { result, heldCurl, outPerS, says } = await find(undefined, finger);
    expect({ finger, result }).toEqual({ finger, result: 'moves' });
    expect(Math.abs(heldCurl - 0.35)).toBeLessThan(0.04);
    // Of its data 8.73 rad/s * 17 mm / 42.7 mm = 3.5 curl/s without load; a finger of 5 N helps it along.
    expect(outPerS).toBeGreaterThan(2.5);
    expect(outPerS).toBeLessThan(6);
    expect(says).toMatch(
      /^✓ Moves: stopped the finger at 3\d % \(asked: 35 %\), and let it go on at \d\.\d curl\/s \(profile: 3\.5 curl\/s\)\.$/,
    );
  }
}, 120_000);

it('finds a servo without current, and says how far the finger closed', async () => {
  const { result, heldCurl, says } = await find('servo-fault dead ring', 'ring');
  expect(result).toBe('doesNotMove');
  expect(heldCurl).toBeGreaterThan(0.9);
  expect(says).toMatch(/^⚠ Does not move: the finger closed to \d+ % \(asked: 35 %\)/);
}, 120_000);

it('finds a horn that is mounted the other way round', async () => {
  const { result, says } = await find('servo-fault reversed middle', 'middle');
  expect(result).toBe('wrongWay');
  expect(says).toMatch(/^⚠ Wrong way: free, the finger closed to \d %; against a stop at 35 %, to [56]\d %/);
}, 120_000);

it.each([0.15, 0.25, 0.3])(
  'finds a servo at %s of its speed, with its pace beside the profile',
  async (part) => {
    const { result, outPerS, says } = await find(`servo-fault slow index ${part}`, 'index');
    expect(result).toBe('tooSlow');
    expect(outPerS).toBeGreaterThan(0.8 * part * 3.5);
    expect(outPerS).toBeLessThan(2 * part * 3.5);
    expect(says).toMatch(/^⚠ Too slow: .* let it go on at [01]\.\d curl\/s; the profile says 3\.5 curl\/s\./);
  },
  120_000,
);

it('finds two plugs that are exchanged, from either side, and leaves the others alone', async () => {
  const found = await withServos(['servo-swap index ring'], async (chain) => {
    const states: TrialState[] = [];
    for (const finger of ['index', 'middle', 'ring'] as const) states.push(await tryServo(chain, finger));
    return states;
  });
  expect(found.map(({ result }) => result)).toEqual(['wrongChannel', 'moves', 'wrongChannel']);
  expect([found[0].instead, found[2].instead].map((f) => FINGERS[f])).toEqual(['ring', 'index']);
  expect(servoText(found[0], 3.5)).toMatch(
    /^⚠ Wrong channel: its stop held the ring, while this finger closed to (9\d|100) %/,
  );
}, 120_000);
