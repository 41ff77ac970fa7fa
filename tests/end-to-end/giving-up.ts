import type { Body } from '../firmware/host-glove.js';
import { PHYSICAL_ACTUATOR, PHYSICAL_SAFETY } from './touch-trials.js';
import { startTurnedChain, turnedProfile } from './turned-chain.js';

/*
 * A finger that is stronger than its drive presses past its stop, and then gives up: how far does the drive draw it back?
 * The whole chain, the real firmware and the simulated mechanics, in turned time.
 */

export interface GivingUp {
  /** Greatest speed that the muscles aim at, curl/s. */
  fastest: number;
  stopAt: number;
  effort: number;
  /** Curl of the finger at which the app first asks; below 0: long before it moves. */
  fromCurl: number;
  /** How far past the stop, or past where it was first asked for, the finger gives up, curl. */
  past: number;
}

/** From the string's tension at its taut end to none, this is how far the finger goes, curl: 10 N at 5 N/mm of 42.7 mm. */
export const STRETCH_AT_10_N = 10 / 5 / 42.7;

/** Of the muscles at the string, N: more than the drive's 8.8, and a hand at rest. */
const STRONG_N = 40;
const SLACK_N = 1.5;
const STEP_MS = 2;
const RENEW_MS = 20;

/** How far each finger was drawn back from its deepest, curl; of those that met their stop. */
export async function giveUpOften(
  { latencyMs, rateHz }: { latencyMs: number; rateHz: number },
  cases: Iterable<GivingUp>,
): Promise<number[]> {
  const actuator = { ...PHYSICAL_ACTUATOR, torqueControl: true };
  const { glove, device, wait, end } = await startTurnedChain({
    profile: turnedProfile('right', actuator, { safety: PHYSICAL_SAFETY }),
    gloveArgs: ['--physics', '--drive', 'torque', '--rate', String(rateHz)],
    latencyMs,
  });
  glove.arm('wearer', 'wearer');
  const look = async (): Promise<Body> => device.ask<Body>('body index');
  const drawn: number[] = [];
  for (const { fastest, stopAt, effort, fromCurl, past } of cases) {
    const ask = (): void => {
      const refusal = glove.resist('app', {
        type: 'resist',
        hand: 'right',
        fingers: { index: { stopAt, effort } },
        ttlMs: 300,
      });
      if (refusal) throw new Error(refusal.message);
    };
    glove.release('app');
    await device.command(`strength ${STRONG_N}`);
    await device.command('grasp 0 6');
    await wait(600);
    for (let ms = 0; fromCurl < 0 && ms < 400; ms += RENEW_MS) {
      ask();
      await wait(RENEW_MS);
    }
    await device.command(`intend index 1 ${fastest}`);
    let asking = false;
    let gaveUpMs = Number.POSITIVE_INFINITY;
    let deepest = 0;
    let back = 0;
    for (let ms = 0; ms < 1200 && ms < gaveUpMs + 400; ms += STEP_MS) {
      const { curl, tensionN } = await look();
      asking ||= curl >= fromCurl;
      if (asking && ms % RENEW_MS === 0) ask();
      if (ms < gaveUpMs && curl > Math.max(fromCurl, stopAt) + past && tensionN > 0.5) {
        gaveUpMs = ms;
        await device.command(`strength ${SLACK_N}`);
      }
      if (ms >= gaveUpMs) {
        deepest = Math.max(deepest, curl);
        back = Math.max(back, deepest - curl);
      }
      await wait(STEP_MS);
    }
    if (gaveUpMs < Number.POSITIVE_INFINITY) drawn.push(back);
  }
  await end();
  return drawn.sort((a, b) => a - b);
}

/** Over efforts, stops, moments of asking and moments of giving up. */
export function* givingUpGrid(fastest: number): Generator<GivingUp> {
  for (const effort of [0.3, 1]) {
    for (const stopAt of [0.1, 0.3, 0.5]) {
      for (const fromCurl of [-1, 0.1, 0.3]) {
        for (const past of [0.03, 0.1, 0.2, 0.35]) yield { fastest, stopAt, effort, fromCurl, past };
      }
    }
  }
}
