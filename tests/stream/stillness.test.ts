import { expect, it } from 'vitest';
import { createHandModel, FINGERS } from '../../src/hand/index.js';
import { createStillness } from '../../src/stream/stillness.js';

const open = Float64Array.from(createHandModel({ side: 'right' }).skeleton.restPoses);
const states = FINGERS.map(() => 2);
const CHANNELS = [{ bits: 12 }, { bits: 10 }];
/** Shifted along x. */
const at = (m: number) => open.map((value, i) => (i % 8 === 0 ? value + m : value));

/** Time goes on by samples at 100 Hz. */
function rig() {
  const stillness = createStillness();
  let timeUs = 0;
  return {
    stillness,
    rests: () => stillness.rests(timeUs),
    pass(
      seconds: number,
      {
        poses = open as ArrayLike<number>,
        fingers = states,
        counts = [2000, 500],
        values = [0.5, Number.NaN],
      } = {},
    ) {
      for (let n = 0; n < seconds * 100; n++) {
        timeUs += 1e4;
        const noiseM = n % 2 === 0 ? 0 : 3e-4;
        const noisy = Array.from(poses, (value, i) => (i % 8 === 0 ? value + noiseM : value));
        stillness.pose(timeUs, noisy, fingers);
        stillness.signals(timeUs, counts, values, CHANNELS);
      }
    },
    back(us: number) {
      timeUs -= us;
    },
  };
}

it('rests once nothing has moved for two seconds by more than the noise of sensors', () => {
  const { pass, rests } = rig();
  expect(rests()).toBe(false);
  pass(1.99);
  expect(rests()).toBe(false);
  pass(0.1);
  expect(rests()).toBe(true);
  // A hundredth of 4096 and of 1024 counts; a channel that has no value has none.
  pass(0.1, { counts: [2040, 490], values: [0.509, Number.NaN] });
  expect(rests()).toBe(true);
});

it.each([
  ['the skin by a millimetre', { poses: at(1e-3) }],
  ['a channel by more than a hundredth of its converter', { counts: [2000, 511] }],
  ['a channel by more than a hundredth of its range', { values: [0.511, Number.NaN] }],
  ['a channel that had no value', { values: [0.5, 0] }],
  ['a channel that has no value any more', { values: [Number.NaN, Number.NaN] }],
  ['a finger that is no longer sensed', { fingers: [2, 1, 2, 2, 2] }],
  ['other channels', { counts: [2000], values: [0.5] }],
])('moves with %s, at once, and for two seconds from then on', (_, move) => {
  const { pass, rests } = rig();
  pass(3);
  expect(rests()).toBe(true);
  pass(0.01, move);
  expect(rests()).toBe(false);
  pass(1.9, move);
  expect(rests()).toBe(false);
  pass(0.2, move);
  expect(rests()).toBe(true);
});

it('does not take a slow move for rest: what it has moved by altogether counts', () => {
  const { stillness } = rig();
  let rested = 0;
  // 1 mm a second, in steps of a hundredth of a millimetre.
  for (let n = 0; n < 1000; n++) {
    stillness.pose(n * 1e4, at(n * 1e-5), states);
    if (stillness.rests(n * 1e4)) rested++;
  }
  expect(rested).toBe(0);
});

it('does not rest for two seconds when it is disturbed, or when time begins again', () => {
  const { stillness, pass, rests, back } = rig();
  pass(3);
  stillness.disturb();
  expect(rests()).toBe(false);
  pass(1.9);
  expect(rests()).toBe(false);
  pass(0.2);
  expect(rests()).toBe(true);
  back(2.5e6);
  pass(0.01);
  expect(rests()).toBe(false);
  pass(2.1);
  expect(rests()).toBe(true);
});
