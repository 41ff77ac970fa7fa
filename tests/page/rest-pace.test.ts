import { expect, it } from 'vitest';
import { JOINT_COUNT, POSE_STRIDE } from '../../src/hand/joints.js';
import { RATE_HZ } from '../../src/page/live.js';
import { createRestPace, REST_HZ } from '../../src/page/rest-pace.js';

/** A client that counts what it is asked for, and gives poses of a hand whose wrist is at x. */
function rig() {
  const listeners = new Map<string, (event: object) => void>();
  const asked: number[] = [];
  let nowMs = 0;
  const client = {
    on(type: string, listener: (event: object) => void) {
      listeners.set(type, listener);
      return () => {};
    },
    adjust: ({ rateHz }: { rateHz: number }) => asked.push(rateHz),
  };
  const pace = createRestPace({ client } as unknown as Parameters<typeof createRestPace>[0], () => nowMs);
  const pass = (ms: number, xOf: (ms: number) => number, hand = 'right'): void => {
    for (const end = nowMs + ms; nowMs < end; nowMs += 20) {
      const poses = new Float32Array(JOINT_COUNT * POSE_STRIDE);
      for (let joint = 0; joint < JOINT_COUNT; joint++) {
        poses.set([xOf(nowMs), 0, 0, 0, 0, 0, 1, 0.01], joint * POSE_STRIDE);
      }
      listeners.get('joints')!({ hand, poses });
    }
  };
  return { pace, pass, asked, welcome: () => listeners.get('welcome')!({}) };
}

const still = () => 0.1;
const noisy = (ms: number) => 0.1 + ((ms / 20) % 2) * 2e-4;
const moving = (ms: number) => 0.1 + ms * 1e-4;

it('asks for fewer poses once a hand has rested, noise or not, and for all at the first move', () => {
  const { pace, pass, asked } = rig();
  pace.glance(true);
  pass(1900, noisy);
  expect(asked).toEqual([]);
  pass(400, noisy);
  expect(asked).toEqual([REST_HZ]);
  pass(20, moving);
  expect(asked).toEqual([REST_HZ, RATE_HZ]);
  pass(5000, moving);
  expect(asked).toHaveLength(2);
});

it('asks for all of them while something is measured, and while any hand moves', () => {
  const { pace, pass, asked } = rig();
  pace.glance(false);
  pass(5000, still);
  expect(asked).toEqual([]);
  pace.glance(true);
  pass(20, still);
  expect(asked).toEqual([REST_HZ]);
  pace.glance(false);
  expect(asked).toEqual([REST_HZ, RATE_HZ]);
  pace.glance(true);
  pass(20, moving, 'left');
  pass(20, still);
  expect(asked).toHaveLength(2);
});

it('begins again with another glove', () => {
  const { pace, pass, asked, welcome } = rig();
  pace.glance(true);
  pass(2100, still);
  expect(asked).toEqual([REST_HZ]);
  welcome();
  pass(40, still);
  expect(asked).toEqual([REST_HZ, RATE_HZ]);
});
