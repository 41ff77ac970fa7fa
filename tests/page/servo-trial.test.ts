import fc from 'fast-check';
import { expect, it } from 'vitest';
import { createServoTrial, type ServoResult } from '../../src/page/servo-trial.js';

/**
 * A wearer who does what he is asked, at a speed, and a servo behind the string of his finger.
 * @param limit how far the servo lets the finger close, for a stop; undefined: it is to be free
 */
function tryServo(limit: (stopAt: number | undefined) => number, { curlPerS = 0.8, noise = 0 } = {}) {
  const trial = createServoTrial();
  let curl = 0.3;
  let stop: number | undefined;
  for (let n = 0; n < 100 * 120 && trial.state.phase !== 'done'; n++) {
    const { phase, stopAt } = trial.state;
    const wish = phase.startsWith('close') ? 1 : 0;
    curl += Math.max(-curlPerS / 100, Math.min(curlPerS / 100, wish - curl));
    // As the governor has it, a stop that is passed follows the finger, and comes no nearer meanwhile.
    if (stopAt === undefined) stop = undefined;
    else stop = Math.max(stopAt, stop ?? 0, curl - 0.06);
    curl = Math.min(curl, limit(stop));
    trial.step(n / 100, Math.max(0, curl + noise * Math.sin(n * 12.9898)), stop);
  }
  return trial.state;
}

const SERVOS: [ServoResult, (stopAt: number | undefined) => number][] = [
  ['moves', (stopAt) => stopAt ?? 1],
  ['doesNotMove', () => 1],
  ['offPlace', (stopAt) => (stopAt === undefined ? 1 : stopAt - 0.15)],
  // A stop of 0.35 is one of 0.65, and free is where it holds most.
  ['wrongWay', (stopAt) => 1 - (stopAt ?? 0.9)],
  ['wrongWay', (stopAt) => (stopAt === undefined ? 1 : 1 - stopAt)],
  ['stuck', () => 0.3],
];

it.each(SERVOS)('finds that a servo %s, however fast the wearer and noisy the sensor', (result, limit) => {
  fc.assert(
    fc.property(
      fc.double({ min: 0.25, max: 4, noNaN: true }),
      fc.double({ min: 0, max: 0.01, noNaN: true }),
      (curlPerS, noise) => {
        expect(tryServo(limit, { curlPerS, noise }).result).toBe(result);
      },
    ),
    { numRuns: 30 },
  );
});

it('says nothing of a servo whose wearer does nothing, and asks for nothing more', () => {
  const trial = createServoTrial();
  for (let n = 0; n < 100 * 60; n++) trial.step(n / 100, 0.5, undefined);
  expect(trial.state).toMatchObject({ phase: 'done', result: 'notTried', stopAt: undefined });
});

it('waits for the stop to be set, and the servo to be there, before it asks to close the finger', () => {
  const trial = createServoTrial();
  let n = 0;
  const go = (curl: number, seconds: number, stop: number | undefined) => {
    for (const until = n + seconds * 100; n < until; n++) trial.step(n / 100, curl, stop);
  };
  go(0, 1, undefined);
  go(1, 1, undefined);
  go(0, 1, undefined);
  expect(trial.state.phase).toBe('keepStraight');
  go(0, 0.3, 0.35);
  expect(trial.state.phase).toBe('keepStraight');
  // Who closes it too early is asked again.
  go(1, 0.2, 0.35);
  expect(trial.state.phase).toBe('straightenAgain');
  go(0, 1.5, 0.35);
  expect(trial.state).toMatchObject({ phase: 'closeHeld', stopAt: 0.35, result: undefined });
  // A stop that is passed follows the finger.
  go(1, 1, 0.94);
  expect(trial.state.result).toBe('doesNotMove');
});

it('keeps the finger free but in the last move, and when it is over', () => {
  for (const [, limit] of SERVOS) {
    const seen: (number | undefined)[] = [];
    const state = tryServo((stopAt) => {
      seen.push(stopAt);
      return limit(stopAt);
    });
    expect(seen[0]).toBeUndefined();
    expect(seen.some((stop) => stop === 0.35)).toBe(true);
    expect(state.stopAt).toBeUndefined();
  }
});

it('blames no servo for a finger that the service let go, and asks again', () => {
  const trial = createServoTrial();
  let n = 0;
  const go = (curl: number, seconds: number, stop: number | undefined) => {
    for (const until = n + seconds * 100; n < until; n++) trial.step(n / 100, curl, stop);
  };
  go(0, 1, undefined);
  go(1, 1, undefined);
  for (let time = 0; time < 3; time++) {
    go(0, 1, undefined);
    go(0, 1, 0.35);
    expect(trial.state.phase).toBe('closeHeld');
    go(1, 1, undefined);
    expect(trial.state.phase).toBe(time < 2 ? 'straightenAgain' : 'done');
  }
  expect(trial.state.result).toBe('letGo');
});
