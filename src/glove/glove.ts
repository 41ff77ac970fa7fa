import type { Logger } from 'pino';
import { type Clock, systemClock } from '../clock.js';
import type { FitStore } from '../config/fit-file.js';
import type { GloveProfile, Profile } from '../config/schema.js';
import type { GloveGuide } from '../guide/guide.js';
import { createPoses, createVelocities, forwardKinematics, jointVelocities } from '../hand/forward.js';
import { FINGERS } from '../hand/joints.js';
import { INVALID } from '../hand/validity.js';
import type { DeviceState, GloveCodec, GloveMessages, Samples } from '../link/codec.js';
import { createFrameCodec } from '../link/frames.js';
import type { Link } from '../link/link.js';
import { createTimeSync } from '../link/time-sync.js';
import { createAppRequests } from './app-requests.js';
import { createGloveArming } from './arming.js';
import { createBeat } from './beat.js';
import { createChainInUse } from './chain-in-use.js';
import { createGloveCounters } from './counters.js';
import { createGloveFeel, type GloveFeel } from './feel.js';
import { createGloveForces } from './forces.js';
import { createGloveLog } from './glove-log.js';
import { createGuidedGlove } from './guided.js';
import { createLifecycle, type GloveParts } from './lifecycle.js';
import { createListeners } from './listeners.js';
import { createOtherHand } from './other-hand.js';
import { createPresence } from './presence.js';
import { createReadings } from './readings.js';
import { createGloveTroubles } from './troubles.js';
import { fromUseOf, type UseLearner } from './use-learner.js';
import type { Glove, HandFrame } from './view.js';
import { createGloveWrist } from './wrist.js';

export type * from './view.js';

/**
 * One physical glove: the whole chain, and the map of the program.
 *
 *   link ── bytes ──> codec ── samples ──> time sync ──> sensing ──> hand ──> frame ──> listeners (stream, recorder)
 *                                                           │          │
 *                                                        curls      poses
 *                                                           v          v
 *   link <── bytes ── codec <── stops ── forces.ts <── requests and touches of apps
 *
 * A sample runs the whole way in one call, without timers or promises in between. A slow beat notices what does not come:
 * silence, expiry, an unanswered hello.
 *
 * Beside it: chain-in-use.ts (what a sample runs through, and when that is remade), presence.ts and lifecycle.ts (whether
 * the glove is there, how it comes and goes), arming.ts (who may arm), guided.ts (leading the wearer through moves), feel.ts (comparing how forces feel),
 * app-requests.ts (what apps ask for), readings.ts (what others want to know), counters.ts and glove-log.ts.
 */
export interface GloveOptions {
  profile: Profile;
  glove: GloveProfile;
  link: Link;
  logger: Logger;
  /** Fits of this profile; undefined: the profile's own numbers apply. */
  fits?: FitStore;
  /** Every glove of the service, this one included: hands of one world are compared. */
  others?: () => readonly Glove[];
  codec?: (messages: GloveMessages) => GloveCodec;
  clock?: Clock;
}

export interface LiveGlove extends Glove {
  /** Opens the link and keeps it. */
  start(): void;
  /** Leads the wearer through a check or a fit. */
  readonly guide: GloveGuide;
  /** Lets the wearer compare how forces feel. */
  readonly feel: GloveFeel;
  readonly fits: FitStore | undefined;
  /** Learns a fit by looking on. */
  readonly learner: UseLearner;
  /** An app says where a tracker on this hand is, whose mount can be fitted. */
  readonly hasTracker: boolean;
  /** A session is shown in its place: meanwhile it can neither be armed nor led through moves. */
  replaced: boolean;
  /** Puts the saved fits to use: the chain is remade, disarmed. */
  refit(): Promise<void>;
  /** Frees every finger, tells the glove so, and closes the link. */
  close(): Promise<void>;
}

/** Samples that were read together take at most this long, plus sending the last: requests of apps wait no longer. */
const BEHIND_US = 10_000;

const createFrame = (): HandFrame => ({
  timeUs: 0,
  valid: false,
  reason: 'The glove has not sent samples yet.',
  space: 'wrist',
  world: undefined,
  fingerStates: new Uint8Array(FINGERS.length).fill(INVALID),
  poses: createPoses(),
  velocities: createVelocities(),
  skipped: 0,
  shownLaterUs: 0,
});

export function createGlove(options: GloveOptions): LiveGlove {
  const { profile, glove, link, logger, clock: time = systemClock } = options;
  const { staleMs } = profile.safety;
  const frame = createFrame();
  const listeners = createListeners(frame);
  const wrist = createGloveWrist(frame, (glove.forearmMm ?? 0) / 1000);
  const otherHand = createOtherHand(frame, options.others ?? (() => []));
  const timeSync = createTimeSync();
  const counters = createGloveCounters();
  const log = createGloveLog({ glove, link, logger, timeSync });
  const chain = createChainInUse(options, frame, wrist, counters);
  const codec = (options.codec ?? createFrameCodec)({
    hello(said) {
      troubles.hello(said);
      lifecycle.introduce(said, arrivalUs);
    },
    samples: takeSamples,
    state(state) {
      device = state;
      listeners.health();
    },
    pong: (pong) => presence.pong(pong, arrivalUs),
    note: log.note,
  });
  const presence = createPresence({ link, codec, timeSync, staleMs, send });
  const troubles = createGloveTroubles({
    glove,
    link,
    codec,
    frame,
    sensing: () => chain.now.sensing,
    introduced: () => presence.introduced,
    faults: () => device?.faults ?? [],
  });
  const forces = createGloveForces({
    chain: () => chain.now,
    frame,
    heard: presence,
    link,
    codec,
    time,
    listeners,
    send,
  });
  const recorded = link.recorded === true;
  const guidedSources = { glove, chain, codec, timeSync, arming: () => arming, wrist, recorded };
  const { guide, learner, ...guided } = createGuidedGlove(guidedSources);
  const arming = createGloveArming({
    glove,
    forces,
    guide: () => guide,
    feel: () => feel,
    replayed: () => replaced || link.recorded === true,
    signed: (what, by) => log.signed(what, chain.now.description.hand, by),
  });
  const feelSources = { chain, codec, forces, arming, frame, safety: profile.safety, draw: Math.random };
  const feel = createGloveFeel(feelSources);
  const parts: GloveParts = {
    link,
    codec,
    time,
    timeSync,
    frame,
    wrist,
    otherHand,
    chain,
    presence,
    forces,
    guide,
    feel,
    arming,
    listeners,
    counters,
    log,
  };
  const lifecycle = createLifecycle(parts);
  const readings = createReadings(parts, () => device);
  const beat = createBeat(parts, lifecycle, troubles, staleMs, learner.look);

  const trackerPose = new Float64Array(7);
  let device: DeviceState | undefined;
  let arrivalUs = 0;
  let healthVersion = -1;
  let stopped = false;
  let replaced = false;

  // ---- glove -> apps -----------------------------------------------------------------------------------------

  function takeBytes(chunk: Uint8Array, atUs: number): void {
    arrivalUs = atUs;
    listeners.bytes(chunk, atUs + frame.shownLaterUs);
    troubles.bytes(chunk, presence.introduced);
    codec.push(chunk, atUs);
    if (frame.skipped === 0) return;
    frame.skipped--;
    listeners.frame();
  }

  function takeSamples(samples: Samples): void {
    if (!presence.introduced || stopped) return;
    const timeUs = timeSync.map(samples.deviceTimeUs, arrivalUs);
    const { sensing, skeleton, inputs, gestures } = chain.now;
    sensing.update(samples, timeUs);
    forwardKinematics(skeleton, sensing.dofs, frame.poses, wrist.place(sensing.wrist, timeUs, arrivalUs));
    jointVelocities(skeleton, sensing.dofRates, frame.poses, frame.velocities);
    wrist.carry(frame.poses, frame.velocities);
    frame.fingerStates.set(sensing.fingerStates);
    frame.timeUs = timeUs + frame.shownLaterUs;
    frame.valid = true;
    frame.reason = undefined;
    counters.pose();

    const nowUs = time.nowUs();
    troubles.buttons(samples.buttons, nowUs);
    // In a replay, samples carry the time they were recorded at: only their age on arrival counts.
    presence.sampleTimeUs = nowUs - (arrivalUs - timeUs);
    arming.sample(sensing, timeUs);
    guided.sample(timeUs, nowUs, samples.buttons);
    feel.sample(nowUs);
    forces.follow(nowUs);

    const inputsChanged = inputs.update(sensing, frame.poses);
    const gesturesChanged = gestures.update(sensing, timeUs);
    // Behind with what was read at once: the newest of it is passed on, and apps get their turn to ask for less force.
    if (!link.recorded && nowUs - arrivalUs > BEHIND_US) frame.skipped++;
    else listeners.frame();
    if (inputsChanged) listeners.inputs();
    if (gesturesChanged) listeners.gestures();
    if (sensing.health.version === healthVersion) return;
    healthVersion = sensing.health.version;
    log.verdicts(sensing, nowUs);
    troubles.verdicts(sensing, nowUs);
    listeners.health();
  }

  function send(bytes: Uint8Array, urgent = false, nowUs = time.nowUs()): boolean {
    if (bytes.length === 0) return true;
    const taken = link.write(bytes, urgent);
    if (taken) listeners.sent(bytes, nowUs);
    return taken;
  }

  return {
    frame,
    guide,
    feel,
    learner,
    fits: options.fits,
    recorded,
    get hasTracker() {
      const nowUs = time.nowUs();
      return wrist.trackerAt(nowUs, nowUs, trackerPose) > 0;
    },
    get description() {
      return chain.now.description;
    },
    get fitsInUse() {
      return chain.now.fits;
    },
    get linkStatus() {
      return link.status;
    },
    get connected() {
      return forces.connected();
    },
    get armed() {
      return forces.armed();
    },
    get replaced() {
      return replaced;
    },
    set replaced(value) {
      replaced = value;
      if (!value) return;
      guide.stop('A session is replayed in the place of the glove.');
      feel.stop('A session is replayed in the place of the glove.');
    },
    start() {
      counters.start(time.nowUs());
      link.open({
        bytes: takeBytes,
        status(status) {
          troubles.status(status, time.nowUs());
          lifecycle.status(status);
        },
        silent: lifecycle.silent,
        pinged: presence.pinged,
        acted: lifecycle.act,
      });
      beat.start();
    },
    refit: lifecycle.refit,
    async close() {
      stopped = true;
      lifecycle.end();
      beat.stop();
      const heardOften = forces.shutdown();
      if (heardOften) await heardOften;
      await link.close();
    },
    listen: listeners.add,
    readTroubles: () => troubles.read(time.nowUs()),
    readFromUse: () => fromUseOf(learner.learned),
    ...readings,
    ...createAppRequests(parts),
  };
}
