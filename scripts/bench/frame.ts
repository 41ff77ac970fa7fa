import { readFileSync } from 'node:fs';
import { parseProfile } from '../../src/config/load.js';
import type { GloveProfile } from '../../src/config/schema.js';
import { createGlove } from '../../src/glove.js';
import {
  createHandModel,
  createPoses,
  createVelocities,
  forwardKinematics,
  type HandModel,
  jointVelocities,
} from '../../src/hand/index.js';
import { createFrameCodec } from '../../src/link/frames.js';
import type { LinkEvents } from '../../src/link/link.js';
import { createSimulatedGlove } from '../../src/link/simulated-glove.js';
import { createSensing } from '../../src/sensing/sensing.js';
import type { PoseMessage } from '../../src/stream/encode.js';
import { encodeJointsBinary } from '../../src/stream/encode-binary.js';
import { type Figures, timeInTurns } from './figure.js';
import { glMatrixKinematics, randomLocals, threeKinematics } from './reference-kinematics.js';

const SAMPLES = 4096;
const RATE_HZ = 500;

/**
 * Two figures, both against the forward kinematics of the same 26 nodes alone. `frame`: decode, calibrate, filter,
 * natural motion, 26 joints with velocities, binary encode. `frameService`: all that the service does with a
 * sample, so clock, health, inputs, touches and governor too.
 */
export async function measureFrame(): Promise<Figures> {
  const file = 'config/simulated.yaml';
  const profile = parseProfile(readFileSync(file, 'utf8'), file);
  const frames: Uint8Array[] = [];
  const simulated = createSimulatedGlove({ hand: 'right', sampleRateHz: RATE_HZ, seed: 1, startUs: 0 });
  for (let n = 0; frames.length < SAMPLES; n++) {
    simulated.step(n * (1e6 / RATE_HZ), (bytes) => void frames.push(bytes.slice()));
  }

  let events: LinkEvents | undefined;
  let nowUs = 0;
  const glove = createGlove({
    profile,
    glove: profile.gloves[0],
    logger: silent,
    clock: { nowUs: () => nowUs, after: () => () => {} },
    link: {
      status: { state: 'live', address: 'memory' },
      open: (to) => {
        events = to;
      },
      write: () => true,
      close: async () => {},
    },
  });
  glove.start();
  events!.status({ state: 'live', address: 'memory' });
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
  const message = { hand: 'right', seq: 0, timeUs: 0, valid: true, space: 'wrist' } as Message;

  const { skeleton, closing, natural } = createHandModel({ side: 'right' });
  const steps = createSteps(profile.gloves[0], { skeleton, closing, natural }, target, message);
  const locals = randomLocals(256, mulberry(7));
  const three = threeKinematics(skeleton);
  const bare = glMatrixKinematics(skeleton);
  let turn = 0;
  let at = 0;
  const wholeFrame = (): void => {
    // The recording starts over: the arrival goes on, as the wrapped device clock seems to.
    nowUs += 1e6 / RATE_HZ;
    events!.bytes(frames[at], nowUs);
    at = at + 1 === frames.length ? 0 : at + 1;
  };
  const { ns, ratiosToFirst } = timeInTurns(
    [
      () => {
        steps(frames[at]);
        at = at + 1 === frames.length ? 0 : at + 1;
      },
      wholeFrame,
      () => three(locals[turn++ & 255]),
      () => bare(locals[turn++ & 255]),
    ],
    { rounds: 41, calls: 5000 },
  );
  if (encoded <= 0 || seq < SAMPLES) throw new Error('the chain gave no poses');
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

/** The steps that make a pose of a sample, and nothing else. */
function createSteps(glove: GloveProfile, hand: HandModel, target: Buffer, message: Message) {
  const sensing = createSensing({
    glove,
    closing: hand.closing,
    natural: hand.natural,
    sampleRateHz: RATE_HZ,
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

const silent = new Proxy({}, { get: () => () => {} }) as Parameters<typeof createGlove>[0]['logger'];
