import { effect } from '@preact/signals';
import { expect, it } from 'vitest';
import { FINGERS } from '../../../src/hand/joints.js';
import type { LiveHand } from '../../../src/page/live.js';
import { createFingers } from '../../../src/page/parts/finger-table.js';

interface Given {
  curls?: number[];
  armed?: boolean;
  fingers?: object;
  unused?: object;
}
const hand = ({ curls = Array(5).fill(0.5), armed = false, fingers = {}, unused }: Given = {}) =>
  ({
    info: { maxTensionN: 5, link: {}, actuators: [{ role: 'index', kind: 'stringStop', unused }] },
    joints: { valid: true, fingers: Object.fromEntries(FINGERS.map((finger) => [finger, 'tracked'])) },
    signals: { curls },
    resistance: { armed, fingers },
  }) as unknown as LiveHand;
const live = { nameOf: (app: string) => `“${app}”` };

/** How often something of a finger would be written. */
function counted(fingers: ReturnType<typeof createFingers>) {
  let writes = 0;
  for (const { finger: _, name: __, ...said } of fingers.rows) {
    for (const one of Object.values(said)) {
      if (typeof one === 'object' && 'value' in one)
        effect(() => {
          one.value;
          writes++;
        });
    }
  }
  const first = writes;
  return () => writes - first;
}

it('writes nothing for the noise of a finger that rests, and its curl when it moves', () => {
  const fingers = createFingers(live);
  fingers.update(hand());
  const writes = counted(fingers);
  // At an edge of rounding, too.
  for (let n = 0; n < 100; n++) fingers.update(hand({ curls: Array(5).fill(0.505 + (n % 2) * 0.002) }));
  expect(writes()).toBeLessThanOrEqual(5);
  const before = writes();
  fingers.update(hand({ curls: [0.6, 0.505, 0.505, 0.505, 0.505] }));
  expect(writes() - before).toBe(1);
  expect(fingers.rows[0].curl.value).toBe(60);
});

it('has a tension of a finger that is at its stop alone, and says who set the stop', () => {
  const fingers = createFingers(live);
  const report = { stopAt: 0.5, tensionN: 3, heat: 0.1, by: 'app1', limits: [] };
  fingers.update(hand({ armed: true, fingers: { index: report, middle: { ...report, stopAt: 0.9 } } }));
  const [, index, middle, ring] = fingers.rows;
  expect([index, middle, ring].map(({ condition }) => condition.value)).toEqual([
    'held',
    'tracked',
    'tracked',
  ]);
  expect([index, middle, ring].map(({ tensionN }) => tensionN.value)).toEqual([3, undefined, undefined]);
  expect([index, middle, ring].map(({ by }) => by.value)).toEqual([
    'Held by “app1”',
    'Stop set by “app1”',
    '',
  ]);
  expect(fingers.mostN.value).toBe(5);
});

it('says why less is given, once for all fingers it is so for, and not of one that is never used', () => {
  const fingers = createFingers(live);
  const report = { stopAt: 0.5, heat: 0.1, by: 'app1', limits: ['heat'] };
  const given = { armed: true, fingers: { index: report, ring: report } };
  fingers.update(hand(given));
  expect(fingers.why.value).toMatch(/^Index, Ring: /);
  fingers.update(hand({ ...given, unused: { reason: 'Too strong', remedy: 'Take another' } }));
  expect(fingers.why.value).toMatch(/^Ring: /);
  expect(fingers.rows[1].isUnused.value).toBe(true);
  fingers.update(hand());
  expect(fingers.why.value).toBe('');
});
