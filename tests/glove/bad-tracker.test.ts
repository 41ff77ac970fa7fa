import { describe, expect, it } from 'vitest';
import { turnBy } from '../../src/hand/rotation.js';
import { STOP_FREE } from '../../src/protocol/link-table.js';
import { seeded } from '../hand/chain.js';
import { gloveOnLink, HELLO, heardBy } from './glove-on-link.js';

const STEP_MS = 4;

type Track = (ms: number, glove: ReturnType<typeof gloveOnLink>['live']) => void;
const NOTHING: Track = () => {};

/** What an armed glove is told about its index finger, by the millisecond, while it closes and an app holds it. */
async function stopsWhile(ask: 'resist' | 'touch', track: Track): Promise<[number, number][]> {
  const { clock, live, written, say } = gloveOnLink();
  live.start();
  const glove = heardBy({});
  say(glove.hello({ ...HELLO, channels: [...HELLO.channels], actuators: [...HELLO.actuators] }));
  let n = 0;
  const run = async (ms: number, index: (ms: number) => number): Promise<void> => {
    for (let t = 0; t < ms; t += STEP_MS, n++) {
      say(glove.samples(n * STEP_MS * 1000, 0, Uint16Array.of(700 + (n % 3), index(t)), 2));
      track(n * STEP_MS, live);
      if (ask === 'resist') {
        const fingers = { index: { stopAt: 0.35, effort: 1 } };
        live.resist('app', { type: 'resist', hand: 'right', fingers, ttlMs: 500 });
      } else {
        // Under the hand, in its own frame.
        const shape = { kind: 'sphere', radius: 0.035 } as const;
        const space = 'wrist' as const;
        live.touch('app', {
          type: 'touch',
          hand: 'right',
          shape,
          space,
          position: [0, -0.045, -0.13],
          ttlMs: 500,
        });
      }
      await clock.advance(STEP_MS);
    }
  };
  await run(400, () => 700);
  live.arm('test', 'wearer');
  await run(1000, (ms) => 700 + 1.6 * ms);
  await run(400, (ms) => 2300 + (ms % 3));
  const stops: [number, number][] = [];
  let atMs = 0;
  const ear = heardBy({ resist: ({ stops: told }) => void stops.push([atMs, told[0]]) });
  for (const { bytes, ms } of written) {
    atMs = ms;
    ear.push(bytes);
  }
  await live.close();
  return stops;
}

const random = seeded(5);
const pose = (position: readonly number[], more: object = {}) =>
  ({ type: 'tracker', hand: 'right', position, orientation: [0, 0, 0, 1], ...more }) as Parameters<
    ReturnType<typeof gloveOnLink>['live']['track']
  >[0];
const BAD: [string, Track][] = [
  ['jumps of a metre', (ms, live) => void live.track(pose([(ms >> 4) % 2, 1, 0]), 'app', 'app')],
  [
    'half turns between two poses',
    (ms, live) => {
      const orientation = turnBy([0, 0, 0, 1], [0, (ms >> 3) % 2 ? 3 : 0, 0]);
      live.track(pose([0, 1, 0], { orientation }), 'app', 'app');
    },
  ],
  [
    'quaternions that turn nothing',
    (_, live) => {
      expect(live.track(pose([0, 1, 0], { orientation: [0, 0, 0, 0] }), 'app', 'app')).toHaveProperty(
        'refused',
      );
      live.track(pose([0, 1, 0], { orientation: [3, 1, 0.2, 0.5] }), 'app', 'app');
    },
  ],
  [
    'numbers that are none',
    (_, live) => {
      live.track(pose([Number.NaN, 1, 0]), 'app', 'app');
      live.track(pose([0, Number.POSITIVE_INFINITY, 0], { timeUs: Number.NaN }), 'app', 'app');
    },
  ],
  ['times of the future', (_, live) => void live.track(pose([0, 1, 0], { timeUs: 1e12 }), 'app', 'app')],
  [
    'times that go to and fro',
    (ms, live) =>
      void live.track(
        pose([0.001 * ms, 1, 0], { timeUs: 1e6 + 1000 * ms - 40_000 * (ms & 1) }),
        'app',
        'app',
      ),
  ],
  [
    'two that disagree, by turns',
    (ms, live) => {
      live.track(pose([0, 1, 0]), 'a', 'workshop');
      if ((ms >> 9) % 2) live.track(pose([2, 1, 5]), 'b', 'garden');
    },
  ],
  [
    'one that comes and goes, of a tracker without a mount and of the wrist',
    (ms, live) => {
      if ((ms >> 7) % 2)
        live.track(pose([0, 1, 0], { of: ms & 8 ? 'tracker' : 'wrist', ttlMs: 50 }), 'app', 'app');
    },
  ],
  [
    'noise of metres',
    (_, live) =>
      void live.track(pose([9 * random(), 9 * random(), 9 * random()]), `app${Math.floor(20 * random())}`),
  ],
];

describe.each(['resist', 'touch'] as const)('the stop of an armed finger that an app holds by %s', (ask) => {
  it('is moved by no bad tracker', async () => {
    const alone = await stopsWhile(ask, NOTHING);
    // It is held, and by more than one command.
    expect(alone.filter(([, stop]) => stop !== STOP_FREE).length).toBeGreaterThan(5);
    for (const [name, track] of BAD) expect(await stopsWhile(ask, track), name).toEqual(alone);
  }, 120_000);
});
