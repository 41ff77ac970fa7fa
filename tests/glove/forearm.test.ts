import { expect, it } from 'vitest';
import { JOINT_NAMES, POSE_STRIDE } from '../../src/hand/index.js';
import { CHANNELS, gloveOnLink, HELLO, heardBy } from './glove-on-link.js';

const WRIST = ['wrist.qx', 'wrist.qy', 'wrist.qz', 'wrist.qw'] as const;

it('a glove with a forearm in its profile moves the hand about the elbow, in the space of the wrist, and says so', async () => {
  const channels = [...CHANNELS, ...WRIST];
  const { clock, live, say } = gloveOnLink(undefined, { channels, more: { forearmMm: 250 } });
  const glove = heardBy({});
  live.start();
  const sent = channels.map((role) => ({ role: role as 'wrist.qx', bits: 12 }));
  say(glove.hello({ ...HELLO, channels: sent, actuators: [...HELLO.actuators] }));
  // A quarter turn about +Y: the forearm points to -X.
  const counts = [0, Math.SQRT1_2, 0, Math.SQRT1_2].map((part) => Math.round(((part + 1) / 2) * 4095));
  for (let n = 0; n < 100; n++) {
    say(glove.samples(n * 4000, 0, Uint16Array.of(500, 500, ...counts), 6));
    await clock.advance(4);
  }
  const at = JOINT_NAMES.indexOf('wrist') * POSE_STRIDE;
  const [x, y, z] = live.frame.poses.subarray(at, at + 3);
  expect(x).toBeCloseTo(-0.25, 3);
  expect(y).toBeCloseTo(0, 3);
  expect(z).toBeCloseTo(0.25, 3);
  expect(live.frame.space).toBe('wrist');
  expect(live.readHealth().wrist).toEqual({ source: 'glove', forearmMm: 250 });
  await live.close();
});
