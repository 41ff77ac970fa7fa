import { expect, it } from 'vitest';
import type { LiveHand } from '../../../src/page/live.js';
import { createInputs } from '../../../src/page/parts/input-tester.js';

const path = (name: string) => `/user/hand/right/input/${name}`;
const [trigger, a, x, y] = ['trigger/value', 'a/click', 'thumbstick/x', 'thumbstick/y'].map(path);
const hand = (values?: Record<string, number | boolean>, inputs = [trigger, a, x, y]) =>
  ({ info: { inputs }, inputs: values && { values } }) as unknown as LiveHand;

it('shows what comes, and how far each has been tried until the reset', () => {
  const inputs = createInputs();
  inputs.update(hand({ [trigger]: 0.8, [a]: true, [x]: -0.5, [y]: 1 }));
  inputs.update(hand({ [trigger]: 0.25, [a]: false, [x]: 0.25, [y]: 0 }));
  const [[bar], [lamp], stick] = [inputs.bars.value, inputs.lamps.value, inputs.stick.value!];
  const shown = () => [bar.text.value, bar.most.value, lamp.on.value, lamp.tried.value, lamp.title.value];
  expect(shown()).toEqual(['25 %', 'transform: scaleX(0.800)', 'false', 'true', 'was pressed']);
  expect(stick.text.value).toBe('+0.25 +0.00');
  // Of a way of 19 px to each side: half of it to the left, a quarter to the right, all of it away.
  const { trail } = stick;
  expect([trail.x, trail.y, trail.wide, trail.high].map(({ value }) => Number(value))).toEqual([
    -9.5, -19, 14.3, 19,
  ]);
  inputs.forget();
  expect(shown()).toEqual(['25 %', 'transform: scaleX(0.000)', 'false', 'false', 'not pressed yet']);
  expect(trail.wide.value).toBe('0.0');
});

it('knows nothing of a glove that is gone, and keeps what was tried', () => {
  const inputs = createInputs();
  inputs.update(hand({ [trigger]: 0.8, [a]: true, [x]: 0, [y]: 0 }));
  inputs.update(hand());
  const [[bar], [lamp]] = [inputs.bars.value, inputs.lamps.value];
  expect([bar.text.value, bar.fill.value, lamp.title.value, lamp.tried.value]).toEqual([
    '–',
    'transform: scaleX(0.000)',
    'not known',
    'true',
  ]);
  expect(inputs.stick.value?.text.value).toBe('–');
});

it('begins again with a glove that has other inputs', () => {
  const inputs = createInputs();
  inputs.update(hand({ [trigger]: 0.8, [x]: 1, [y]: 1 }));
  const { value: before } = inputs.bars;
  inputs.update(hand({ [trigger]: 0.1 }));
  expect(inputs.bars.value).toBe(before);
  inputs.update(hand({ [trigger]: 0.1 }, [trigger]));
  expect(inputs.bars.value[0].most.value).toBe('transform: scaleX(0.100)');
  expect([inputs.lamps.value, inputs.stick.value]).toEqual([[], undefined]);
});
