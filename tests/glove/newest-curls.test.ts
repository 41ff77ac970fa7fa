import { expect, it } from 'vitest';
import { createNewestCurls } from '../../src/glove/newest-curls.js';
import type { Sensing } from '../../src/sensing/sensing.js';

type Sensed = Parameters<typeof createNewestCurls>[0];

/** A thumb with a curl sensor, an index sensed at two joints and its abduction, a middle without a sensor. */
function sensed(): Sensed & { raw: Float64Array; values: Float64Array; curl: Float64Array } {
  const channel = (kind: string, finger: number, part = 0) =>
    ({ kind, finger, part }) as unknown as Sensing['channels'][number];
  return {
    channels: [
      channel('stick', -1),
      channel('curl', 0),
      channel('joint', 1, 0),
      channel('joint', 1, 1),
      channel('joint', 1, 2),
    ],
    raw: Float64Array.of(1, 0.3, 0.4, 0.4, 0.4),
    values: Float64Array.of(0, 0.3, 0.4, 0.4, 0.4),
    curl: Float64Array.of(0.3, 0.4, 0.2, 0.1, 0),
  };
}

it('is the filtered curl while nothing moves, and for fingers without a sensor', () => {
  const hand = sensed();
  const newest = createNewestCurls(hand);
  expect([...newest.update()]).toEqual([...hand.curl]);
});

it('is ahead of the filter while a finger closes, by its curl or by the joint that has moved most', () => {
  const hand = sensed();
  const newest = createNewestCurls(hand);
  hand.raw.set([0.35, 0.41, 0.9, 0.47], 1);
  const curls = newest.update();
  expect(curls[0]).toBeCloseTo(0.35, 12);
  expect(curls[1]).toBeCloseTo(0.47, 12);
  // And back again.
  hand.raw.set([0.3, 0.4, 0.4, 0.4], 1);
  expect([...newest.update()]).toEqual([...hand.curl]);
});

it('is never less than the filtered curl: an opening finger, and what is not a number', () => {
  const hand = sensed();
  const newest = createNewestCurls(hand);
  hand.raw.set([0.1, 0.1, 0.1, 0.1], 1);
  expect([...newest.update()]).toEqual([...hand.curl]);
  hand.raw.fill(Number.NaN);
  expect([...newest.update()]).toEqual([...hand.curl]);
  hand.curl[0] = Number.NaN;
  expect(newest.update()[0]).toBeNaN();
});
