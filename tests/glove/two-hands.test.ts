import { describe, expect, it } from 'vitest';
import type { LiveGlove } from '../../src/glove/glove.js';
import { JOINT_NAMES, POSE_STRIDE } from '../../src/hand/index.js';
import { turnBy } from '../../src/hand/rotation.js';
import { FakeClock } from '../link/fake-clock.js';
import { gloveOnLink, HELLO, heardBy } from './glove-on-link.js';

const STEP_MS = 10;
const OPEN = 500;

/** Two gloves on one service, each with a tracker that an app sends. */
function twoGloves() {
  const clock = new FakeClock();
  const all: LiveGlove[] = [];
  const rigs = (['right', 'left'] as const).map((hand) => {
    const rig = gloveOnLink(undefined, { clock, hand, others: () => all });
    const glove = heardBy({});
    all.push(rig.live);
    let changes = 0;
    rig.live.listen({ health: () => void changes++ });
    rig.live.start();
    rig.say(glove.hello({ ...HELLO, hand, channels: [...HELLO.channels], actuators: [...HELLO.actuators] }));
    return {
      ...rig,
      hand,
      changed: () => changes,
      counts: [OPEN, OPEN],
      place: undefined as readonly number[] | undefined,
      world: undefined as 'local' | 'stage' | undefined,
      note: () => rig.live.readHealth().wrist?.note,
      sample: (deviceUs: number, counts: readonly number[]) =>
        rig.say(glove.samples(deviceUs, 0, Uint16Array.from(counts), 2)),
      overlap: () => rig.live.readHealth().wrist?.overlap,
    };
  });
  let deviceUs = 0;
  return {
    right: rigs[0],
    left: rigs[1],
    async run(ms: number, each: () => void = () => {}): Promise<void> {
      for (let t = 0; t < ms; t += STEP_MS, deviceUs += STEP_MS * 1000) {
        for (const rig of rigs) {
          const { place, hand, world } = rig;
          if (place) {
            const [x, y, z, qx, qy, qz, qw] = place;
            rig.live.track(
              {
                type: 'tracker',
                hand,
                position: [x, y, z],
                orientation: [qx, qy, qz, qw],
                ...(world && { world }),
              },
              'app',
            );
          }
          rig.sample(deviceUs, rig.counts);
        }
        each();
        await clock.advance(STEP_MS);
      }
    },
    close: () => Promise.all(rigs.map(({ live }) => live.close())),
  };
}

describe('two hands in one world', () => {
  it('one that reaches into the other is said by both, how deep and where; nobody moves it away', async () => {
    const { right, left, run, close } = twoGloves();
    right.place = [0, 1, 0, 0, 0, 0, 1];
    left.place = [0.3, 1, 0, 0, 0, 0, 1];
    await run(600);
    expect(right.live.frame.space).toBe('world');
    expect([right.overlap(), left.overlap()]).toEqual([undefined, undefined]);

    left.place = [0.03, 1, 0, 0, 0, 0, 1];
    const before = right.changed();
    await run(1000);
    expect(right.overlap()).toMatchObject({ hand: 'left' });
    expect(left.overlap()).toMatchObject({
      hand: 'right',
      depthMm: expect.closeTo(right.overlap()!.depthMm, 6),
    });
    expect(right.overlap()!.depthMm).toBeGreaterThan(4);
    expect(JOINT_NAMES).toContain(right.overlap()!.at);
    expect([right.overlap()!.at, right.overlap()!.into]).toEqual([left.overlap()!.into, left.overlap()!.at]);
    // Said once, shown where it is said to be.
    expect(right.changed() - before).toBeLessThanOrEqual(2);
    const at = JOINT_NAMES.indexOf('wrist') * POSE_STRIDE;
    expect([...left.live.frame.poses.subarray(at, at + 3)]).toEqual(
      [0.03, 1, 0].map((v) => expect.closeTo(v, 6)),
    );

    // A hand that is in the world no more reaches into nothing.
    left.place = undefined;
    await run(600);
    expect(left.live.frame.space).toBe('wrist');
    expect([right.overlap(), left.overlap()]).toEqual([undefined, undefined]);
    await close();
  });

  it('in two worlds they do not meet, wherever they are, and both say why', async () => {
    const { right, left, run, close } = twoGloves();
    right.place = [0, 1, 0, 0, 0, 0, 1];
    left.place = [0.03, 1, 0, 0, 0, 0, 1];
    right.world = 'local';
    left.world = 'stage';
    await run(800);
    expect([right.overlap(), left.overlap()]).toEqual([undefined, undefined]);
    expect(right.note()).toBe(
      'The left hand is placed in stage space, this one in local space: let the apps that place them use the same.',
    );
    expect(left.note()).toMatch(/^The right hand is placed in local space, this one in stage space/);
    left.world = 'local';
    await run(800);
    expect([right.note(), left.note()]).toEqual([undefined, undefined]);
    expect(right.overlap()).toMatchObject({ hand: 'left' });
    await close();
  });

  it('hands that tremble at each other make no more than five changes a second', async () => {
    const { right, left, run, close } = twoGloves();
    right.place = [0, 1, 0, 0, 0, 0, 1];
    let n = 0;
    left.place = [0.3, 1, 0, 0, 0, 0, 1];
    await run(500);
    const before = right.changed();
    await run(2000, () => {
      n++;
      left.place = [n % 2 ? 0.3 : 0.03, 1, 0, 0, 0, 0, 1];
    });
    expect(right.changed() - before).toBeLessThanOrEqual(11);
    await close();
  });

  it('a rod that both hold: each is stopped at its surface, as if it held it alone', async () => {
    // Along X; the palms are down, the rod is under the index fingers.
    const rod = { kind: 'capsule', radius: 0.012, length: 0.6 } as const;
    const across = turnBy([0, 0, 0, 1], [0, 0, Math.PI / 2]);
    const held = async (...hands: ('right' | 'left')[]) => {
      const both = twoGloves();
      const { run, close } = both;
      both.right.place = [0.12, 1, 0, 0, 0, 0, 1];
      both.left.place = [-0.12, 1, 0, 0, 0, 0, 1];
      await run(400);
      for (const side of hands) both[side].live.arm('test', 'wearer');
      let closing = OPEN;
      await run(1500, () => {
        closing = Math.min(2300, closing + 20);
        for (const side of ['right', 'left'] as const) {
          both[side].counts = [OPEN, closing];
          if (!hands.includes(side)) continue;
          both[side].live.touch('app', {
            type: 'touch',
            hand: side,
            shape: rod,
            space: 'world',
            position: [0, 0.955, -0.125],
            orientation: [...across],
            ttlMs: 200,
          });
        }
      });
      const found = hands.map((side) => {
        const { index } = both[side].live.readResistance().fingers;
        if (index?.stopAt === undefined || !index.contact) throw new Error(`${side}: not held`);
        return { stopAt: index.stopAt, contact: index.contact };
      });
      await close();
      return found;
    };
    const [[right], [left], together] = [
      await held('right'),
      await held('left'),
      await held('right', 'left'),
    ];
    for (const [one, alone] of [
      [together[0], right],
      [together[1], left],
    ]) {
      expect(one.stopAt).toBe(alone.stopAt);
      expect(one.contact).toEqual(alone.contact);
      // On the rod, in the world: its radius from its axis, on the side of its own hand.
      const [, y, z] = one.contact.point;
      expect(Math.hypot(y - 0.955, z + 0.125)).toBeCloseTo(0.012, 4);
    }
    expect(together[0].contact.point[0]).toBeGreaterThan(0.05);
    expect(together[1].contact.point[0]).toBeLessThan(-0.05);
    // Mirror images of each other.
    expect(together[0].stopAt).toBeCloseTo(together[1].stopAt, 3);
  });
});
