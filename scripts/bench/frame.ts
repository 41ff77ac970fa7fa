import type { GloveProfile } from '../../src/config/schema.js';
import {
  createHandModel,
  createPoses,
  createVelocities,
  forwardKinematics,
  type HandModel,
  jointVelocities,
} from '../../src/hand/index.js';
import { createFrameCodec } from '../../src/link/frames.js';
import type { Channel } from '../../src/sensing/channels.js';
import type { Health } from '../../src/sensing/health/health.js';
import { HEALTHY } from '../../src/sensing/health/verdicts.js';
import { createSensing } from '../../src/sensing/sensing.js';
import type { PoseMessage } from '../../src/stream/encode.js';
import { encodeJointsBinary } from '../../src/stream/encode-binary.js';
import { type Figures, timeInTurns } from './figure.js';
import { openMemoryGlove } from './memory-glove.js';
import { glMatrixKinematics, randomLocals, threeKinematics } from './reference-kinematics.js';

const RATE_HZ = 500;
/**
 * Two figures, both against the forward kinematics of the same 26 nodes alone, on the same samples, by the functions
 * that the service itself uses:
 *
 * - `frame`: bytes -> COBS, CRC, message -> calibration, with slow drift taken out -> One Euro -> coupling, natural
 *   motion, rates -> 26 joints -> their velocities -> a binary record. No more than that: channels are not judged.
 * - `frameService`: the glove's whole chain, so the clock, the health of every channel, inputs, touches, the governor
 *   and its listeners too.
 */
export async function measureFrame(): Promise<Figures> {
  const { glove, profile, frames, sample } = openMemoryGlove(RATE_HZ);
  const target = Buffer.alloc(16 * 1024);
  let seq = 0;
  let encoded = 0;
  glove.listen({
    frame: ({ poses, velocities, fingerStates, timeUs, valid, reason, space }) => {
      message.poses = poses;
      message.velocities = velocities;
      message.fingerStates = fingerStates;
      message.timeUs = Math.round(timeUs);
      message.valid = valid;
      message.reason = reason;
      message.space = space;
      message.seq = seq++;
      encoded += encodeJointsBinary(target, 0, message);
    },
  });
  const message = { hand: 'right', seq: 0, timeUs: 0, aheadMs: 0, valid: true, space: 'wrist' } as Message;

  const { skeleton, closing, natural } = createHandModel({ side: 'right' });
  const steps = createSteps(profile.gloves[0], { skeleton, closing, natural }, target, message);
  const locals = randomLocals(256, mulberry(7));
  const three = threeKinematics(skeleton);
  const bare = glMatrixKinematics(skeleton);
  let turn = 0;
  let at = 0;
  const { ns, ratiosToFirst } = timeInTurns(
    [
      () => {
        steps(frames[at]);
        at = at + 1 === frames.length ? 0 : at + 1;
      },
      sample,
      () => three(locals[turn++ & 255]),
      () => bare(locals[turn++ & 255]),
    ],
    { rounds: 41, calls: frames.length },
  );
  if (encoded <= 0 || seq < frames.length) throw new Error('the chain gave no poses');
  const [own, service, byThree, byGlMatrix] = ns.map(Math.round);
  const toThree = `three.js kinematics of the same 26 nodes alone, ${byThree} ns`;
  return {
    frame: {
      value: 1 / ratiosToFirst[2],
      unit: `x (${own} ns)`,
      bar: 1,
      better: 'lower',
      reference: toThree,
    },
    frameStretch: {
      value: 1 / ratiosToFirst[3],
      unit: `x (${own} ns)`,
      bar: 1,
      better: 'lower',
      reference: `stretch: gl-matrix kinematics of the same 26 nodes alone, ${byGlMatrix} ns`,
    },
    frameService: {
      value: ratiosToFirst[1] / ratiosToFirst[2],
      unit: `x (${service} ns)`,
      bar: 2,
      better: 'lower',
      reference: toThree,
    },
  };
}

type Message = { -readonly [K in keyof PoseMessage]: PoseMessage[K] };

/** Finds nothing, and does nothing for it. */
const unjudged = (channels: readonly Channel[]): Health => ({
  verdicts: channels.map(() => HEALTHY),
  version: 0,
  suspect: new Uint8Array(channels.length),
  unusable: new Uint8Array(channels.length),
  troubled: 0,
  adopt() {},
  noiseCounts: () => 0,
  update() {},
});

/** The steps that make a pose of a sample, and nothing else. */
function createSteps(glove: GloveProfile, hand: HandModel, target: Buffer, message: Message) {
  const sensing = createSensing({
    glove,
    closing: hand.closing,
    natural: hand.natural,
    sampleRateHz: RATE_HZ,
    health: unjudged,
  });
  const poses = createPoses();
  const velocities = createVelocities();
  let timeUs = 0;
  const codec = createFrameCodec({
    hello() {},
    samples(samples) {
      timeUs += 1e6 / RATE_HZ;
      sensing.update(samples, timeUs);
      forwardKinematics(hand.skeleton, sensing.dofs, poses);
      jointVelocities(hand.skeleton, sensing.dofRates, poses, velocities);
      message.poses = poses;
      message.velocities = velocities;
      message.fingerStates = sensing.fingerStates;
      message.timeUs = timeUs;
      message.seq++;
      encodeJointsBinary(target, 0, message);
    },
    state() {},
    pong() {},
    note() {},
  });
  return (bytes: Uint8Array) => codec.push(bytes, timeUs);
}

/** Small seeded generator: mulberry32, public domain, by T. Ettinger. */
function mulberry(seed: number): () => number {
  let a = seed;
  return () => {
    a = (a + 0x6d2b79f5) | 0;
    let t = Math.imul(a ^ (a >>> 15), 1 | a);
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t;
    return ((t ^ (t >>> 14)) >>> 0) / 2 ** 32;
  };
}
