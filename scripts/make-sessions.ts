/**
 * Makes the sessions in config/sessions: the firmware's host build with its physical hand and servos, through the
 * whole chain into the recorder, in time turned by hand. The motion is invented.
 *
 *   make -C src/firmware/host
 *   npx tsx scripts/make-sessions.ts
 */
import { mkdirSync, rmSync, statSync } from 'node:fs';
import { parseProfile } from '../src/config/load.js';
import { createGlove, type LiveGlove } from '../src/glove/glove.js';
import { FINGERS, type Finger, type HandSide } from '../src/hand/joints.js';
import { version } from '../src/install/version.js';
import type { Link, LinkEvents } from '../src/link/link.js';
import { type Recorder, startRecorder } from '../src/recording/recorder.js';
import { PHYSICAL_ACTUATOR, PHYSICAL_SAFETY } from '../tests/end-to-end/touch-trials.js';
import { type HostGlove, startHostGlove } from '../tests/firmware/host-glove.js';
import { FakeClock } from '../tests/link/fake-clock.js';
import { silentLogger } from './simulated-session.js';

const FOLDER = 'config/sessions';
const RATE_HZ = 100;
const STEP_MS = 2;
/** So that the same commands give the same file. */
const MADE_AT_NS = BigInt(Date.UTC(2030, 0, 1, 12)) * 1_000_000n;

interface Scene {
  gloves: Record<string, HostGlove>;
  chains: Record<string, LiveGlove>;
  recorder: Recorder;
  /** Seconds go by; `each` is called 20 times a second, as an app renews its requests. */
  wait(seconds: number, each?: () => void): Promise<void>;
  /** Nothing gets through either way. */
  cut: Set<string>;
}

async function make(
  name: string,
  hands: readonly HandSide[],
  act: (scene: Scene) => Promise<void>,
): Promise<void> {
  const file = `${FOLDER}/${name}.mcap`;
  rmSync(file, { force: true });
  const clock = new FakeClock();
  const profile = parseProfile(
    JSON.stringify({
      profile: 1,
      safety: PHYSICAL_SAFETY,
      name: `Host gloves, ${name}`,
      wearer: { handLengthMm: 186 },
      gloves: hands.map((hand) => ({
        name: `${hand} host glove`,
        hand,
        link: { kind: 'serial' },
        channels: FINGERS.map((finger) => ({ role: `${finger}.curl`, open: 491, closed: 3604 })),
        actuators: FINGERS.map((finger) => ({ role: finger, ...PHYSICAL_ACTUATOR })),
      })),
    }),
    name,
  );
  const channels = FINGERS.map((finger) => `${finger}.curl`).join(',');
  const gloves: Record<string, HostGlove> = {};
  const chains: Record<string, LiveGlove> = {};
  const events: Record<string, LinkEvents> = {};
  const toGlove: Record<string, string> = {};
  const cut = new Set<string>();
  for (const glove of profile.gloves) {
    const { hand } = glove;
    gloves[hand] = await startHostGlove([
      ...['--physics', '--manual-time', '--hand', hand, '--channels', channels, '--rate', String(RATE_HZ)],
    ]);
    toGlove[hand] = '';
    const link: Link = {
      status: { state: 'live', address: `${hand} host glove` },
      open(to) {
        events[hand] = to;
        to.status(link.status);
      },
      write(bytes) {
        toGlove[hand] += Buffer.from(bytes).toString('hex');
        return true;
      },
      close: async () => {},
    };
    chains[hand] = createGlove({ profile, glove, link, clock, logger: silentLogger });
  }
  const recorder = await startRecorder({
    file,
    gloves: Object.values(chains),
    profile,
    logger: silentLogger,
    version,
    clock,
    wallNs: () => MADE_AT_NS,
  });
  for (const chain of Object.values(chains)) chain.start();

  async function step(): Promise<void> {
    const answers = await Promise.all(
      hands.map((hand) => {
        const hex = cut.has(hand) ? '' : toGlove[hand];
        toGlove[hand] = '';
        return gloves[hand].command(`exchange ${STEP_MS} ${hex}`);
      }),
    );
    await clock.advance(STEP_MS);
    hands.forEach((hand, i) => {
      const bytes = Buffer.from(answers[i].slice('bytes '.length), 'hex');
      if (bytes.length > 0 && !cut.has(hand)) events[hand].bytes(bytes, clock.nowUs());
    });
  }
  async function wait(seconds: number, each?: () => void): Promise<void> {
    for (let ms = 0; ms < seconds * 1000; ms += STEP_MS) {
      if (ms % 50 === 0) each?.();
      await step();
    }
  }
  await act({ gloves, chains, recorder, wait, cut });
  for (const chain of Object.values(chains)) await chain.close();
  await recorder.stop();
  await Promise.all(Object.values(gloves).map((glove) => glove.quit()));
  console.log(`${file}: ${(statSync(file).size / 1000).toFixed(0)} kB`);
}

const intend = (glove: HostGlove, curls: Partial<Record<Finger, number>>, speed = 4) =>
  Promise.all(
    Object.entries(curls).map(([finger, curl]) => glove.command(`intend ${finger} ${curl} ${speed}`)),
  );

mkdirSync(FOLDER, { recursive: true });

await make('everyday', ['left', 'right'], async ({ gloves: { left, right }, recorder, wait }) => {
  const open = { thumb: 0.1, index: 0.08, middle: 0.1, ring: 0.12, little: 0.15 };
  await wait(0.8);
  recorder.mark('both hands rest');
  await Promise.all([intend(left, open, 2), intend(right, open, 2)]);
  await wait(0.8);
  recorder.mark('the right hand points, the left one holds a cup');
  await intend(right, { thumb: 0.6, index: 0.05, middle: 0.85, ring: 0.9, little: 0.9 });
  await intend(left, { thumb: 0.45, index: 0.5, middle: 0.52, ring: 0.55, little: 0.58 }, 2.5);
  await wait(1.6);
  recorder.mark('the right hand pinches');
  await intend(right, { thumb: 0.5, index: 0.55, middle: 0.2, ring: 0.15, little: 0.15 }, 3);
  await wait(1.4);
  recorder.mark('two fists, then open');
  await Promise.all([left.command('grasp 0.95 4'), right.command('grasp 0.95 4')]);
  await wait(1.2);
  await Promise.all([intend(left, open), intend(right, open)]);
  await wait(1.2);
});

await make('grasp', ['right'], async ({ gloves: { right }, chains, recorder, wait }) => {
  const glove = chains.right;
  await wait(0.6);
  glove.arm('wearer', 'wearer');
  const hold = (stopAt: number, effort: number) => () => {
    const stop = { stopAt, effort };
    const fingers = { thumb: stop, index: stop, middle: stop, ring: stop, little: stop };
    glove.resist('demo', { type: 'resist', hand: 'right', fingers, ttlMs: 250 });
  };
  for (const [what, stopAt] of [
    ['a ball', 0.5],
    ['a bottle', 0.65],
  ] as const) {
    recorder.mark(`closes on ${what}`);
    await wait(0.3, hold(stopAt, 1));
    await right.command('grasp 0.9 3');
    await wait(1.6, hold(stopAt, 1));
    recorder.mark('opens');
    await right.command('grasp 0.05 3');
    await wait(0.4, hold(stopAt, 1));
    glove.release('demo');
    await wait(0.6);
  }
});

await make('faults', ['right'], async ({ gloves: { right }, recorder, wait, cut }) => {
  const wave = async (seconds: number): Promise<void> => {
    for (let s = 0; s < seconds; s += 1) {
      await right.command('grasp 0.8 3');
      await wait(0.5);
      await right.command('grasp 0.1 3');
      await wait(0.5);
    }
  };
  await wave(2);
  recorder.mark('the ring connector is loose');
  await right.command('fault intermittent 12 ring.curl');
  await wave(3);
  await right.command('fault none ring.curl');
  recorder.mark('the middle string has come off its spool');
  await right.command('fault railed 1 middle.curl');
  await wave(2);
  await right.command('fault none middle.curl');
  recorder.mark('damaged and lost frames');
  await right.command('corrupt 6');
  await wait(0.2);
  await right.command('drop 6');
  await wave(1);
  recorder.mark('the cable is out for half a second');
  cut.add('right');
  await wait(0.5);
  cut.delete('right');
  await wave(1);
});
