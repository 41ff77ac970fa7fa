import { afterEach, describe, expect, it } from 'vitest';
import { FINGERS } from '../../src/hand/joints.js';
import { STOP_FREE } from '../../src/protocol/link-table.js';
import { OPENS_BY } from '../../src/resistance/grasp-hold.js';
import type { Body } from '../firmware/host-glove.js';
import { PHYSICAL_ACTUATOR, PHYSICAL_SAFETY } from './touch-trials.js';
import { startTurnedChain, type TurnedChain, turnedProfile } from './turned-chain.js';

/**
 * An application that knows nothing of gloves grabs at a threshold of its grip and vibrates; the host glove's hand, with
 * muscles, strings and servos, closes as a person does. Time is turned by hand.
 */
let chain: TurnedChain | undefined;
afterEach(async () => {
  await chain?.end();
  chain = undefined;
});

async function graspingChain(graspHold: boolean): Promise<TurnedChain> {
  const profile = turnedProfile('right', PHYSICAL_ACTUATOR, { safety: PHYSICAL_SAFETY });
  profile.openxr.graspHold = graspHold;
  profile.openxr.graspEffort = 1;
  const made = await startTurnedChain({ profile, gloveArgs: ['--physics'] });
  await made.wait(600);
  made.glove.arm('the wearer', 'wearer');
  return made;
}

interface Grasp {
  /** From the vibration: until the firmware was told to hold the index finger, ms. */
  heardMs: number;
  /** Until the finger stood still, ms. */
  arrestedMs: number;
  /** Curls of the index finger: at the vibration, at rest half a second later. */
  atVibration: number;
  atRest: number;
  tensionN: number;
  /** The furthest that a servo stood behind its finger while it was coming, curl. */
  behind: number;
  chain: TurnedChain;
}

const GRAB_AT = 0.5;

async function grasp(graspHold: boolean, speed: number): Promise<Grasp> {
  chain = await graspingChain(graspHold);
  const { device, glove } = chain;
  const bodies = () => device.ask<Body[]>('bodies');
  for (const finger of FINGERS) await device.command(`intend ${finger} 0.1 6`);
  await chain.wait(600);
  await chain.step(FINGERS.map((finger) => `intend ${finger} 1 ${speed}`));
  // The application looks at its grip every frame, as it knows it.
  const curlOf = () => glove.readResistance().fingers.index!.curl;
  while (curlOf() < GRAB_AT) await chain.wait(11);
  const [, index] = await bodies();
  const begunMs = chain.clock.nowUs() / 1000;
  let heardMs = Number.NaN;
  let stillMs = 0;
  let arrestedMs = Number.NaN;
  let before = index.curl;
  let behind = 0;
  const pulse = { type: 'pulse' as const, hand: 'right' as const, amplitude: 0.5, durationMs: 30 };
  for (let ms = 0; ms < 500; ms++) {
    if (ms % 11 === 0 && ms < 60) glove.pulse('game', pulse, true);
    await chain.wait(1);
    const nowMs = chain.clock.nowUs() / 1000 - begunMs;
    const servos = await device.ask<{ stop: number; effort: number }[]>('servos');
    if (Number.isNaN(heardMs) && servos[1].effort > 0 && servos[1].stop !== STOP_FREE) heardMs = nowMs;
    const [, body] = await bodies();
    stillMs = Math.abs(body.curl - before) < 0.002 ? stillMs + 1 : 0;
    if (stillMs === 0) before = body.curl;
    if (stillMs === 20 && Number.isNaN(arrestedMs)) arrestedMs = nowMs - 20;
    if (body.tensionN === 0) behind = Math.max(behind, body.curl - body.stopCurl);
  }
  const [, rest] = await bodies();
  return {
    ...{ heardMs, arrestedMs, behind, chain },
    atVibration: index.curl,
    atRest: rest.curl,
    tensionN: rest.tensionN,
  };
}

describe.each([1.5, 3])('a hand that closes at %s curl/s', (speed) => {
  it('is held by what it grabbed from the vibration on, and free when it opens', async () => {
    const held = await grasp(true, speed);
    expect(held.heardMs).toBeLessThan(30);
    // A servo of 3.5 curl/s comes from out of the way, and the finger goes on to meet it.
    expect(held.arrestedMs).toBeLessThan(200);
    expect(held.atRest).toBeLessThan(held.atVibration + 0.3);
    expect(held.tensionN).toBeGreaterThan(3);
    // No string drew a finger back: while a servo came, it was not behind its finger.
    expect(held.behind).toBeLessThan(0.01);
    const { glove, device } = held.chain;
    const curlOf = () => glove.readResistance().fingers.index!.curl;
    const isFree = () => glove.readResistance().fingers.index!.stopAt === undefined;
    for (const finger of FINGERS) await device.command(`intend ${finger} 0 2`);
    let deepest = curlOf();
    for (let ms = 0; ms < 500 && !isFree(); ms++) {
      await held.chain.wait(1);
      deepest = Math.max(deepest, curlOf());
      // Held as long as it has not opened.
      if (isFree()) expect(deepest - curlOf()).toBeGreaterThanOrEqual(OPENS_BY - 0.01);
      else expect(deepest - curlOf()).toBeLessThan(OPENS_BY + 0.01);
    }
    expect(isFree()).toBe(true);
  });

  it('closes without the hold, whatever the application vibrates', async () => {
    const free = await grasp(false, speed);
    expect(free.atRest).toBeGreaterThan(0.95);
    expect(free.tensionN).toBe(0);
  });
});
