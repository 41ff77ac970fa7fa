import { Ajv } from 'ajv';
import type { Profile } from '../../src/config/schema.js';
import { createGlove } from '../../src/glove/glove.js';
import type { GloveMessages } from '../../src/link/codec.js';
import { createFrameCodec } from '../../src/link/frames.js';
import { createGloveFrames } from '../../src/link/glove-frames.js';
import { createLineCodec } from '../../src/link/lines.js';
import type { Link, LinkEvents } from '../../src/link/link.js';
import { type AppMessageOf, ServerMessages } from '../../src/protocol/messages.js';
import { MAX_POSE_FRAME } from '../../src/stream/encode.js';
import { encodeJointsBinary } from '../../src/stream/encode-binary.js';
import { encodeJointsJson } from '../../src/stream/encode-json.js';
import { silentLogger, simulatedProfile } from '../simulated-session.js';
import { createHostileBytes } from './hostile-bytes.js';
import { createRandom, type Random } from './random.js';
import { createSteppedClock } from './stepped-clock.js';
import { createWatch, type FuzzReport } from './watch.js';

/** So many chunks, what the glove tells of itself is checked against its schemas. */
const CHECK_EVERY = 64;
const ajv = new Ajv({ strict: true, strictTypes: false, strictTuples: false });
const checks = {
  health: ajv.compile(ServerMessages.health),
  inputs: ajv.compile(ServerMessages.inputs),
  signals: ajv.compile(ServerMessages.signals),
  resistance: ajv.compile(ServerMessages.resistance),
};

/**
 * Hostile bytes into both decoders, and through a whole glove that is armed, touched and held meanwhile. Broken
 * promises besides a throw: a pose that is not finite, a report that breaks its schema, a command to the glove that
 * does not decode, a counter that does not count every byte.
 */
export function fuzzLink(count: number, seed: number): FuzzReport {
  const random = createRandom(seed);
  const hostile = createHostileBytes(random);
  const watch = createWatch();
  const decoder = createFrameCodec(ignoring());
  const profile = simulatedProfile(['right']);
  const [glove] = profile.gloves;
  const lines = createLineCodec(
    {
      kind: 'lines',
      separator: ',',
      radix: 10,
      header: false,
      sampleRateHz: 100,
      columns: ['timeMs', ...glove.channels.map(({ role }) => role)],
    },
    glove.hand,
    glove.channels,
    glove.actuators,
    ignoring(),
  );
  const chain = gloveUnderTest(profile, random, watch.count);
  // The model of the other hand is made when a glove first says that it is one: once a run, with nothing held.
  const beganMs = performance.now();
  for (const hello of hostile.firstHellos()) chain.push(hello);
  watch.outcomes['first hello of the other hand, ms'] = Math.round(performance.now() - beganMs);

  let bytes = 0;
  let settled = false;
  for (let input = 0; bytes < count; input++) {
    const chunk = hostile.chunk();
    bytes += chunk.length;
    watch.run(input, () => decoder.push(chunk));
    watch.run(input, () => lines.push(chunk, bytes));
    watch.run(input, () => chain.push(chunk));
    chain.between(hostile.calm);
    if (input % CHECK_EVERY === 0) watch.run(input, chain.check);
    if (!settled && bytes >= count / 10) {
      settled = true;
      watch.settled();
    }
  }
  for (const [name, codec] of Object.entries({ decoder, lines })) {
    if (codec.counters.bytes !== bytes)
      watch.crash(-1, `${name} counted ${codec.counters.bytes} of ${bytes} bytes`);
  }
  const { frames, badCrc, malformed, oversize, unknownType } = decoder.counters;
  Object.assign(watch.outcomes, {
    frames,
    badCrc,
    malformed,
    oversize,
    unknownType,
    lines: lines.counters.frames,
  });
  return watch.report('link', seed, bytes);
}

function gloveUnderTest(profile: Profile, random: Random, count: (outcome: string) => void) {
  const clock = createSteppedClock();
  let events: LinkEvents | undefined;
  let badCommands = 0;
  const said = createGloveFrames({
    askHello: () => {},
    resist: () => count('resist sent'),
    release: () => count('release sent'),
    ping: () => {},
    rate: () => {},
    pulse: () => count('pulse sent'),
  });
  const link: Link = {
    status: { state: 'live', address: 'fuzz' },
    open(given) {
      events = given;
      given.status(link.status);
    },
    write(bytes) {
      said.push(bytes);
      const { badCrc, malformed, oversize, unknownType } = said.counters;
      badCommands = badCrc + malformed + oversize + unknownType;
      return !random.oneIn(50);
    },
    close: async () => {},
  };
  const glove = createGlove({ profile, glove: profile.gloves[0], link, logger: silentLogger, clock });
  const buffer = Buffer.alloc(MAX_POSE_FRAME);
  let seq = 0;
  glove.listen({
    frame(frame) {
      const { hand } = glove.description;
      const message = {
        ...frame,
        hand,
        seq: seq++,
        timeUs: Math.round(frame.timeUs),
        aheadMs: 0,
        recorded: false,
        pressures: undefined,
      };
      count(frame.valid ? 'valid pose' : 'silence');
      if (encodeJointsBinary(buffer, 4, message) < 0) throw new Error('a pose is not finite');
      if ((seq & 15) === 0 && encodeJointsJson(buffer, 4, message) < 0)
        throw new Error('a pose is not finite');
    },
  });
  glove.start();

  const fingers = ['thumb', 'index', 'middle', 'ring', 'little'] as const;
  function act(): void {
    const app = `app${random.below(3)}`;
    const { hand } = glove.description;
    const finger = random.pick(fingers);
    const actions = [
      () => glove.arm('fuzz', 'wearer'),
      () => random.oneIn(10) && glove.disarm('fuzz', 'wearer'),
      () => hold(app, finger),
      () => hold(app, finger),
      () => {
        const touch = {
          type: 'touch',
          hand,
          space: random.pick(['wrist', 'palm', 'world']),
          shape: { kind: 'sphere', radius: 0.001 + random.unit() * 0.2 },
          position: [random.unit() - 0.5, random.unit() - 0.5, random.unit() - 0.5],
          orientation: [0, 0, 0, 1],
          effort: random.unit(),
        };
        glove.touch(app, touch as AppMessageOf<'touch'>);
      },
      () => glove.pulse(app, { type: 'pulse', hand, finger, amplitude: 1, durationMs: 20 }),
      () => glove.release(app),
      () => glove.drop(app),
      () => glove.rezero(app),
      () => random.oneIn(20) && glove.guide.start(random.pick(['check', 'fit'] as const), 'fuzz'),
      () => random.oneIn(5) && glove.guide.stop('fuzz'),
      () => glove.guide.next(),
    ];
    random.pick(actions)();
  }

  function hold(app: string, finger: (typeof fingers)[number]): void {
    const held = { [finger]: { stopAt: random.unit(), effort: random.unit() } };
    const { hand } = glove.description;
    glove.resist(app, { type: 'resist', hand, fingers: held, ttlMs: 1 + random.below(1000) });
  }

  return {
    push: (chunk: Uint8Array) => events!.bytes(chunk, clock.nowUs()),
    /** Apps act, and time passes: mostly a little, now and then as after a night in a closed laptop. */
    between(calm: boolean): void {
      if (random.oneIn(3)) act();
      if (calm) {
        clock.advance(10_000);
        return;
      }
      clock.advance(
        random.oneIn(500) ? random.below(10_000_000) : random.oneIn(4) ? 0 : random.below(20_000),
      );
      if (random.oneIn(2000)) events!.status(link.status);
    },
    check(): void {
      const found = {
        health: { type: 'health', ...glove.readHealth() },
        inputs: { type: 'inputs', seq: 0, ...glove.readInputs() },
        signals: { type: 'signals', ...glove.readSignals() },
        resistance: { type: 'resistance', ...glove.readResistance() },
      };
      for (const [name, check] of Object.entries(checks)) {
        const body = JSON.parse(JSON.stringify(found[name as keyof typeof found]));
        if (name === 'inputs') body.timeUs = Math.round(body.timeUs);
        if (!check(body)) throw new Error(`${name}: ${ajv.errorsText(check.errors)}`);
      }
      if (badCommands > 0) throw new Error(`${badCommands} commands to the glove do not decode`);
    },
  };
}

const ignoring = (): GloveMessages => ({
  hello: () => {},
  samples: () => {},
  state: () => {},
  pong: () => {},
  note: () => {},
});
