import { expect, it } from 'vitest';
import { seenFrom } from '../../src/page/scene/hand-labels.js';

/** A camera at this azimuth and elevation, degrees; azimuth 0 looks at the back of the hand. */
const camera = (azimuth: number, elevation: number) => {
  const [a, e] = [azimuth, elevation].map((degrees) => (degrees * Math.PI) / 180);
  return { x: Math.sin(a) * Math.cos(e), y: Math.sin(e), z: Math.cos(a) * Math.cos(e) };
};

it.each([
  [0, 7, 'back'],
  [30, 7, 'back'],
  [180, 7, 'palm'],
  [-160, -20, 'palm'],
  [-90, 7, 'side'],
  [60, 7, 'side'],
  [90, 7, 'side'],
  [90, -77, ''],
  [0, 77, 'tips'],
  [180, 77, 'tips'],
])('a hand seen from azimuth %s and elevation %s shows: %s', (azimuth, elevation, side) => {
  expect(seenFrom(camera(azimuth, elevation))).toBe(side);
});
