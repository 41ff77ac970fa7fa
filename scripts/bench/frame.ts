import { readFileSync } from 'node:fs';
import { parseProfile } from '../../src/config/load.js';
import { createGlove } from '../../src/glove.js';
import { createSkeleton } from '../../src/hand/index.js';
import type { LinkEvents } from '../../src/link/link.js';
import { createSimulatedGlove } from '../../src/link/simulated-glove.js';
import { encodeJointsBinary } from '../../src/stream/encode-binary.js';
import { type Figures, timeInTurns } from './figure.js';
import { glMatrixKinematics, randomLocals, threeKinematics } from './reference-kinematics.js';

const SAMPLES = 4096;
const RATE_HZ = 500;

/**
 * The whole way of one sample through the real chain: frame decoding, clock, calibration, filters, health, inputs,
 * 26 joints with velocities, governor, binary encoding. The reference is the forward kinematics of the same 26
 * nodes alone.
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
  const message = { hand: 'right', seq: 0, timeUs: 0, valid: true, space: 'wrist' } as {
    -readonly [K in keyof Parameters<typeof encodeJointsBinary>[2]]: Parameters<
      typeof encodeJointsBinary
    >[2][K];
  };

  const skeleton = createSkeleton({ side: 'right' });
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
    [wholeFrame, () => three(locals[turn++ & 255]), () => bare(locals[turn++ & 255])],
    { rounds: 41, calls: 5000 },
  );
  if (encoded <= 0 || seq < SAMPLES) throw new Error('the chain gave no poses');
  const [own, byThree, byGlMatrix] = ns.map(Math.round);
  return {
    frame: {
      value: 1 / ratiosToFirst[1],
      unit: `x (${own} ns)`,
      bar: 1,
      better: 'lower',
      reference: `three.js kinematics of the same 26 nodes alone, ${byThree} ns`,
    },
    frameStretch: {
      value: 1 / ratiosToFirst[2],
      unit: `x (${own} ns)`,
      bar: 1,
      better: 'lower',
      reference: `gl-matrix kinematics of the same 26 nodes alone, ${byGlMatrix} ns`,
    },
  };
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
