import fc from 'fast-check';
import { expect, it } from 'vitest';
import { createServoTrial, type ServoResult } from '../../src/page/servo-trial.js';

const INDEX = 1;
const MIDDLE = 2;
const SERVOS_OF = [0, 1, 2, 3, 4];
/** Of the profile. */
const PER_S = 5;
const HZ = 60;

interface Drives {
  /** How far the string lets a finger close, for the stop of the index finger; undefined: it is to be free. */
  limit(finger: number, stopAt: number | undefined): number;
  /** Of the index finger's servo, curl/s. */
  perS?: number;
}

/** A wearer who does what he is asked, at a speed, and servos behind the strings of his fingers. */
function tryServo(
  { limit, perS = PER_S }: Drives,
  { curlPerS = 0.8, noise = 0, pressPerS = 20, each = (_: { stopAt: number | undefined }) => {} } = {},
) {
  const trial = createServoTrial({ speedCurlPerS: PER_S, finger: INDEX, servos: SERVOS_OF });
  const curls = SERVOS_OF.map(() => 0.3);
  const limits = SERVOS_OF.map(() => 1);
  let stop: number | undefined;
  for (let n = 0; n < HZ * 240 && trial.state.phase !== 'done'; n++) {
    const { phase, stopAt } = trial.state;
    // As the governor has it, a stop that is passed follows the finger, and comes no nearer meanwhile.
    if (stopAt === undefined) stop = undefined;
    else stop = Math.max(stopAt, stop ?? 0, curls[INDEX] - 0.06);
    for (const finger of SERVOS_OF) {
      const asked =
        phase === 'closeOthers' ? finger !== INDEX : finger === INDEX && /^close|payOut/.test(phase);
      // Who presses against a stop follows it as fast as his muscles are.
      const fastest = phase === 'payOut' ? pressPerS : curlPerS;
      curls[finger] += Math.max(-curlPerS / HZ, Math.min(fastest / HZ, (asked ? 1 : 0) - curls[finger]));
      const to = limit(finger, stop);
      limits[finger] += Math.max(-perS / HZ, Math.min(perS / HZ, to - limits[finger]));
      curls[finger] = Math.min(curls[finger], limits[finger]);
    }
    const seen = curls.map((curl) => Math.max(0, curl + noise * Math.sin(n * 12.9898)));
    trial.step(n / HZ, seen, stop);
    each(trial.state);
  }
  return trial.state;
}
const ofIndex = (limit: (stopAt: number | undefined) => number): Drives => ({
  limit: (finger, stopAt) => (finger === INDEX ? limit(stopAt) : 1),
});

const SERVOS: [ServoResult, Drives][] = [
  ['moves', ofIndex((stopAt) => stopAt ?? 1)],
  ['doesNotMove', ofIndex(() => 1)],
  ['offPlace', ofIndex((stopAt) => (stopAt === undefined ? 1 : stopAt - 0.15))],
  // A stop of 0.35 is one of 0.65, and free is where it holds most.
  ['wrongWay', ofIndex((stopAt) => 1 - (stopAt ?? 0.9))],
  ['wrongWay', ofIndex((stopAt) => (stopAt === undefined ? 1 : 1 - stopAt))],
  ['stuck', ofIndex(() => 0.3)],
  ['tooSlow', { ...ofIndex((stopAt) => stopAt ?? 1), perS: 1 }],
  // The middle finger's servo has the plug of the index finger's.
  ['wrongChannel', { limit: (finger, stopAt) => (finger === MIDDLE ? (stopAt ?? 1) : 1) }],
];

it.each(SERVOS)('finds that a servo %s, however fast the wearer and noisy the sensor', (result, drives) => {
  fc.assert(
    fc.property(
      fc.double({ min: 0.25, max: 4, noNaN: true }),
      fc.double({ min: 0, max: 0.01, noNaN: true }),
      (curlPerS, noise) => {
        expect(tryServo(drives, { curlPerS, noise }).result).toBe(result);
      },
    ),
    { numRuns: 30 },
  );
});

it('measures how fast a servo lets a finger go on, and names the finger that has its plug', () => {
  for (const perS of [0.5, 1, 2, 4, 8]) {
    const { outPerS, result } = tryServo({ ...ofIndex((stopAt) => stopAt ?? 1), perS });
    expect(outPerS / perS).toBeGreaterThan(0.9);
    expect(outPerS / perS).toBeLessThan(1.1);
    expect(result).toBe(perS < 0.6 * PER_S ? 'tooSlow' : 'moves');
  }
  expect(tryServo(SERVOS[7][1]).instead).toBe(MIDDLE);
  expect(tryServo(SERVOS[1][1])).toMatchObject({ instead: -1, result: 'doesNotMove' });
});

it('does not take a wearer who hardly presses for a fast servo, and says when no pace was seen', () => {
  const sound = ofIndex((stopAt) => stopAt ?? 1);
  expect(tryServo(sound, { pressPerS: 0.6 })).toMatchObject({ result: 'tooSlow' });
  const still = tryServo(sound, { pressPerS: 0 });
  expect(still.result).toBe('moves');
  expect(still.outPerS).toBeNaN();
});

it('says nothing of a servo whose wearer does nothing, and asks for nothing more', () => {
  const trial = createServoTrial({ speedCurlPerS: PER_S, finger: INDEX, servos: [INDEX] });
  for (let n = 0; n < 100 * 60; n++) trial.step(n / 100, [undefined, 0.5], undefined);
  expect(trial.state).toMatchObject({ phase: 'done', result: 'notTried', stopAt: undefined });
});

it('waits for the stop to be set, and the servo to be there, before it asks to close the finger', () => {
  const trial = createServoTrial({ speedCurlPerS: PER_S, finger: INDEX, servos: [INDEX] });
  let n = 0;
  const go = (curl: number, seconds: number, stop: number | undefined) => {
    for (const until = n + seconds * 100; n < until; n++) trial.step(n / 100, [undefined, curl], stop);
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
  go(0, 2.5, 0.35);
  expect(trial.state).toMatchObject({ phase: 'closeHeld', stopAt: 0.35, result: undefined });
  // A stop that is passed follows the finger.
  go(1, 1, 0.94);
  expect(trial.state.result).toBe('doesNotMove');
});

it('keeps the finger free but in the moves that need a stop, and when it is over', () => {
  for (const [, drives] of SERVOS) {
    const seen: (number | undefined)[] = [];
    const state = tryServo(drives, { each: ({ stopAt }) => void seen.push(stopAt) });
    expect(seen[0]).toBeUndefined();
    expect(seen.some((stop) => stop === 0.35)).toBe(true);
    expect(state.stopAt).toBeUndefined();
  }
});

it('blames no servo for a finger that the service let go, and asks again', () => {
  const trial = createServoTrial({ speedCurlPerS: PER_S, finger: INDEX, servos: [INDEX] });
  let n = 0;
  const go = (curl: number, seconds: number, stop: number | undefined) => {
    for (const until = n + seconds * 100; n < until; n++) trial.step(n / 100, [undefined, curl], stop);
  };
  go(0, 1, undefined);
  go(1, 1, undefined);
  for (let time = 0; time < 3; time++) {
    go(0, 1, undefined);
    go(0, 2, 0.35);
    expect(trial.state.phase).toBe('closeHeld');
    go(1, 1, undefined);
    expect(trial.state.phase).toBe(time < 2 ? 'straightenAgain' : 'done');
  }
  expect(trial.state.result).toBe('letGo');
});
