import { describe, expect, it } from 'vitest';
import { handModel } from '../../src/glove/hand-models.js';
import { createPoses, forwardKinematics } from '../../src/hand/forward.js';
import { CHAIN_START } from '../../src/hand/skeleton.js';
import { INFERRED, TRACKED } from '../../src/hand/validity.js';
import { BELIEVED_S } from '../../src/sensing/health/step-gate.js';
import { createSensing } from '../../src/sensing/sensing.js';
import { CURL_ROLES, channel, feedTo, gaussian, gloveWith, random } from './glove-signals.js';
import { leastJerk, type Motion } from './natural-motions.js';

const RING = 3;
const POSE_FLOATS = 8;

interface Loose {
  rateHz: number;
  /** Breaks of the contact a second, 0: one; each lasts 2 to 42 ms, and reads 0 or anything. */
  breaksPerS: number;
  seed: number;
  /** Curl of every finger over time, s. */
  hand?: Motion;
}

/** A slow hand: half a closing a second. */
const slow: Motion = (t) => 0.5 - 0.45 * Math.cos(Math.PI * t);

/** A quick hand whose ring connector comes loose after three seconds, for three, and is mended. */
function wear({ rateHz, breaksPerS, seed, hand = leastJerk(seed) }: Loose) {
  const { skeleton, closing, natural } = handModel({ side: 'right' });
  const sensing = createSensing({
    glove: gloveWith(CURL_ROLES.map((role) => channel(role))),
    closing,
    natural,
  });
  const feed = feedTo(sensing, rateHz);
  const next = random(seed);
  const noise = gaussian(seed);
  const counts = new Float64Array(5);
  const poses = createPoses();
  const before = new Float64Array(poses.length);
  let breakEndS = 0;
  let nextBreakS = 3;
  let brokenAt = 0;
  const seen = {
    /** Samples from the first break that a finger could not have made to the first `inferred` one. */
    samplesToInferred: Number.NaN,
    /** Largest step of a joint of the ring, mm, while the connector is loose; and of the middle finger, which is whole. */
    largestMm: 0,
    naturalMm: 0,
    /** Samples that were shown as tracked though a break of a third of the range was shorter than BELIEVED_S ago. */
    wrong: 0,
    /** From when it is mended until it is tracked, s. */
    backS: Number.NaN,
    /** From the last break of a third of the range until it is tracked, s. */
    backAfterBreakS: Number.NaN,
  };
  let firstWrong = -1;
  let lastWrongS = Number.NEGATIVE_INFINITY;
  for (let n = 0; n < 9 * rateHz; n++) {
    const t = n / rateHz;
    for (let f = 0; f < 5; f++) counts[f] = 500 + 3000 * hand(t) + 1.5 * noise();
    const whole = counts[RING];
    if (t >= 3 && t < 6) {
      if (t >= nextBreakS) {
        breakEndS = t + 0.002 + 0.04 * next();
        brokenAt = next() < 0.5 ? 0 : 4095 * next();
        nextBreakS = breakEndS - Math.log(1 - next()) / breaksPerS;
      }
      if (t < breakEndS) counts[RING] = brokenAt;
    }
    // A third of the range within a sample: no finger makes that at these rates.
    const wrong = Math.abs(counts[RING] - whole) > 1000;
    for (let f = 0; f < 5; f++) counts[f] = Math.max(0, Math.min(4095, Math.round(counts[f])));
    feed.send(counts);
    const state = sensing.fingerStates[RING];
    if (wrong && firstWrong < 0) firstWrong = n;
    if (wrong) {
      lastWrongS = t;
      seen.backAfterBreakS = Number.NaN;
    }
    if (firstWrong >= 0 && Number.isNaN(seen.samplesToInferred) && state === INFERRED)
      seen.samplesToInferred = n - firstWrong + 1;
    if (n > firstWrong + 1 && t - lastWrongS < BELIEVED_S && state === TRACKED) seen.wrong++;
    if (t > lastWrongS && state === TRACKED && Number.isNaN(seen.backAfterBreakS))
      seen.backAfterBreakS = t - lastWrongS;
    if (t > 6 && state === TRACKED && Number.isNaN(seen.backS)) seen.backS = t - 6;
    forwardKinematics(skeleton, sensing.dofs, poses);
    if (t >= 3 && t < 6) {
      seen.largestMm = Math.max(seen.largestMm, largestStepMm(before, poses, RING));
      seen.naturalMm = Math.max(seen.naturalMm, largestStepMm(before, poses, RING - 1));
    }
    before.set(poses);
  }
  return seen;
}

/** A named contact is judged from its first step, up to 42 ms earlier. */
const near = (seconds: number, wanted: number): boolean => Math.abs(seconds - wanted) < 0.05;

function largestStepMm(before: Float64Array, now: Float64Array, finger: number): number {
  let most = 0;
  for (let joint = CHAIN_START[finger]; joint < CHAIN_START[finger] + 4; joint++) {
    const at = joint * POSE_FLOATS;
    const way = Math.hypot(now[at] - before[at], now[at + 1] - before[at + 1], now[at + 2] - before[at + 2]);
    most = Math.max(most, 1000 * way);
  }
  return most;
}

describe('a loose connector', () => {
  for (const rateHz of [100, 250, 500]) {
    for (const breaksPerS of [2, 12, 40]) {
      it(`is not shown as tracked: ${breaksPerS} breaks a second, ${rateHz} Hz`, () => {
        for (let seed = 1; seed <= 20; seed++) {
          const { samplesToInferred, largestMm, naturalMm, wrong, backS } = wear({
            rateHz,
            breaksPerS,
            seed,
          });
          expect(samplesToInferred, `seed ${seed}`).toBeLessThanOrEqual(2);
          expect(wrong, `seed ${seed}`).toBe(0);
          // No joint jumps: what is shown goes no faster than a healthy finger did meanwhile.
          expect(largestMm, `seed ${seed}`).toBeLessThan(1.25 * naturalMm + 2);
          expect(backS, `seed ${seed}`).toBeLessThan(3);
        }
      });
    }
  }

  it('is tracked again half a second after a break, or two if that had a name by then', () => {
    const back: number[] = [];
    for (let seed = 1; seed <= 40; seed++) {
      const { samplesToInferred, backAfterBreakS } = wear({ rateHz: 250, breaksPerS: 0, seed, hand: slow });
      if (!Number.isNaN(samplesToInferred)) back.push(backAfterBreakS);
    }
    for (const seconds of back) expect(seconds).toSatisfy((s: number) => near(s, BELIEVED_S) || near(s, 2));
    expect(back.filter((s) => near(s, BELIEVED_S)).length).toBeGreaterThan(1);
    expect(back.filter((s) => near(s, 2)).length).toBeGreaterThan(10);
  });

  it('moves no joint of a slow hand by more than 4 mm in a sample, from 250 samples a second on', () => {
    for (const rateHz of [250, 500]) {
      for (const breaksPerS of [2, 12, 40]) {
        for (let seed = 1; seed <= 20; seed++) {
          const { largestMm, wrong } = wear({ rateHz, breaksPerS, seed, hand: slow });
          expect(largestMm, `${rateHz} Hz, ${breaksPerS} breaks a second, seed ${seed}`).toBeLessThan(4);
          expect(wrong).toBe(0);
        }
      }
    }
  });
});
