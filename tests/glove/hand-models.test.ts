import { setImmediate } from 'node:timers/promises';
import { expect, test } from 'vitest';
import { handModel, prepareHandModel, wornHand } from '../../src/glove/hand-models.js';
import { createHandModel } from '../../src/hand/hand-model.js';

const wearer = { handLengthMm: 191, handBreadthMm: 83 };

test('a left hand moves as the right one of the same bones, so it is worked out once', () => {
  const [left, right] = (['left', 'right'] as const).map((side) => wornHand(side, wearer));
  expect(createHandModel(left).natural.table).toEqual(createHandModel(right).natural.table);
  expect(createHandModel(left).closing.table).toEqual(createHandModel(right).closing.table);
  expect(handModel(left).natural).toBe(handModel(right).natural);
  expect(handModel(left).skeleton.side).toBe('left');
});

test('a fitted hand, too', () => {
  const bones = { ...wornHand('right', wearer), boneLengthsM: { index: [0.085, 0.049, 0.027, 0.021] } };
  const mirrored = createHandModel({ ...bones, side: 'left' });
  expect(mirrored.natural.table).toEqual(createHandModel(bones).natural.table);
  expect(handModel(bones).closing).not.toBe(handModel(wornHand('right', wearer)).closing);
});

test('prepared between other work, it is there at once', async () => {
  const options = wornHand('right', { handLengthMm: 173.5, handBreadthMm: 76 });
  let turns = 0;
  let over = false;
  const others = (async () => {
    while (!over) {
      await setImmediate();
      turns++;
    }
  })();
  await prepareHandModel(options);
  over = true;
  await others;
  expect(turns).toBeGreaterThan(2);
  const prepared = handModel(options);
  expect(prepared.natural).toBe(handModel(options).natural);
  expect(prepared.natural.table).toEqual(createHandModel(options).natural.table);
});

test('bones that are none are refused', async () => {
  await expect(prepareHandModel({ side: 'right', lengthM: 5 })).rejects.toThrow(RangeError);
});
