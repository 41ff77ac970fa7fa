import type { Clock } from '../clock.js';
import type { GloveGuide } from '../guide/guide.js';
import { INVALID } from '../hand/validity.js';
import type { GloveCodec, Hello } from '../link/codec.js';
import type { Link, LinkStatus, RecordedAct } from '../link/link.js';
import type { TimeSync } from '../link/time-sync.js';
import type { GloveArming } from './arming.js';
import type { ChainInUse } from './chain-in-use.js';
import type { GloveCounters } from './counters.js';
import type { GloveFeel } from './feel.js';
import type { GloveForces } from './forces.js';
import type { GloveLog } from './glove-log.js';
import type { GloveListeners } from './listeners.js';
import type { OtherHand } from './other-hand.js';
import type { Presence } from './presence.js';
import type { HandFrame } from './view.js';
import type { GloveWrist } from './wrist.js';

/** The parts of one glove, each in a file of that name. */
export interface GloveParts {
  link: Link;
  codec: GloveCodec;
  time: Clock;
  timeSync: TimeSync;
  frame: HandFrame;
  wrist: GloveWrist;
  otherHand: OtherHand;
  chain: ChainInUse;
  presence: Presence;
  forces: GloveForces;
  guide: GloveGuide;
  feel: GloveFeel;
  arming: GloveArming;
  listeners: GloveListeners;
  counters: GloveCounters;
  log: GloveLog;
}

/** How a glove connects, turns out to be a different one, falls silent and leaves. Each of these frees the fingers. */
export interface GloveLifecycle {
  /** The glove describes itself. */
  introduce(said: Hello, arrivalUs: number): void;
  /** The state of the link has changed. */
  status(status: LinkStatus): void;
  /** Samples have stopped. */
  silent(reason: string): void;
  /** Of a recording: repeats what shaped the hand. */
  act(act: RecordedAct, timeUs: number): void;
  /** The saved fits apply from here on. */
  refit(): Promise<void>;
  /** Nothing is received from here on. */
  end(): void;
}

/** How often a glove is believed that says it is a different one: each time the chain is remade. */
const DIFFERENT_US = 200_000;

export function createLifecycle(parts: GloveParts): GloveLifecycle {
  const { link, codec, time, timeSync, frame, wrist, chain, presence, forces, guide, arming } = parts;
  const { listeners, counters, log } = parts;
  let differentUs = Number.NEGATIVE_INFINITY;
  let wasLive = false;
  let stopped = false;
  codec.payOut?.(chain.now.description.feel?.slack);

  function introduce(said: Hello, arrivalUs: number): void {
    const different = chain.differs(said);
    if (different) {
      forces.letGo();
      if (!link.recorded && arrivalUs - differentUs < DIFFERENT_US) {
        presence.introduced = false;
        return;
      }
      if (Number.isFinite(differentUs)) arming.keepForWearer();
      differentUs = arrivalUs;
      guide.stop('The glove turned out to be a different one.');
      chain.replaceFor(said);
      codec.payOut?.(chain.now.description.feel?.slack);
    }
    log.hello(said, different);
    presence.introduced = true;
    chain.introduced();
    if (different) listeners.described();
  }

  function putFitsToUse(): void {
    forces.letGo();
    arming.keepForWearer();
    guide.stop('Another fit was put to use.');
    chain.replace();
    codec.payOut?.(chain.now.description.feel?.slack);
    listeners.described();
  }

  /** What shaped the hand while it was recorded is done again. */
  function act(done: RecordedAct, timeUs: number): void {
    if (done.type === 'restart') restart(done.shownLaterUs);
    else if (done.type === 'tracker') wrist.track(done, timeUs, done.app);
    else if (done.type === 'rezero') chain.now.sensing.rezero();
    else if (done.type === 'drift') chain.adoptDrift(done.memory);
    else if (chain.useRecordedFits(done.fits)) putFitsToUse();
  }

  function restart(shownLaterUs: number): void {
    frame.shownLaterUs = shownLaterUs;
    codec.reset();
    timeSync.forget();
    wrist.forget();
    presence.introduced = false;
    chain.restart();
  }

  function takeStatus(status: LinkStatus): void {
    const live = status.state === 'live';
    if (live) {
      codec.reset();
      timeSync.restart();
      presence.connected(time.nowUs());
    } else if (stopped) {
      frame.valid = false;
    } else if (frame.valid || presence.introduced) {
      goSilent(status.error?.line ?? `The link to the glove is ${status.state}.`);
    } else if (status.error) {
      frame.reason = status.error.line;
    }
    // A wearer who pulled the plug to get free must not be held when it is back. A replay holds nobody.
    if (forces.armed() && !link.recorded) forces.disarm(live ? 'a new connection' : 'the link was lost');
    if (wasLive) arming.keepForWearer();
    wasLive = live;
    log.status(status);
    listeners.health();
  }

  /** No samples: apps hear of it at once, fingers are free, and nothing of the past is carried on. */
  function goSilent(reason: string): void {
    presence.introduced = presence.introduced && link.status.state === 'live';
    frame.reason = reason;
    counters.silent();
    if (!frame.valid) return;
    frame.valid = false;
    frame.fingerStates.fill(INVALID);
    frame.velocities.fill(0);
    frame.timeUs += 1;
    chain.now.sensing.reset();
    presence.ceased();
    forces.step(time.nowUs());
    log.silent(reason);
    listeners.frame();
  }

  return {
    introduce,
    status: takeStatus,
    silent: goSilent,
    act,
    async refit() {
      await chain.prepare();
      if (!stopped) putFitsToUse();
    },
    end() {
      stopped = true;
    },
  };
}
