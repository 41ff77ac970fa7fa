import type { Logger } from 'pino';
import type { FitShelf, FitsInUse } from './config/fit-file.js';
import { mergeFit } from './guide/merge-fit.js';
import type { GloveProfile, Profile } from './config/schema.js';
import { type Chain, makeChain, prepareChain, sameGlove } from './glove/chain.js';
import { createGloveGuide, type GloveGuide } from './guide/guide.js';
import { reportHealth, reportInputs, reportSignals } from './glove/reports.js';
import { createGloveForces, type Heard } from './glove/forces.js';
import type { AppRequest, Glove, GloveListener, HandFrame, Refusal } from './glove/view.js';
import { createGloveWrist } from './glove/wrist.js';
import { DOF_COUNT } from './hand/dofs.js';
import { createPoses, createVelocities, forwardKinematics, jointVelocities } from './hand/forward.js';
import { FINGERS } from './hand/joints.js';
import { DOF_MAX, DOF_MIN } from './hand/limits.js';
import { INVALID, TRACKED } from './hand/validity.js';
import { createClock } from './link/time-sync.js';
import type { DeviceState, GloveCodec, GloveMessages, Hello, Samples } from './link/codec.js';
import { createFrameCodec } from './link/frames.js';
import { latencyAdvice } from './link/latency-advice.js';
import type { Link, LinkStatus, RecordedAct } from './link/link.js';
import { logEvent } from './log/events.js';
import { type Clock, systemClock } from './clock.js';
import { EVENT_REASONS } from './resistance/events.js';
import { stopsToFit } from './guide/stops-to-fit.js';
import { pinchGapMm } from './guide/pinch-gap.js';
import { createStretchedHand } from './sensing/stretched-hand.js';
import { createVerdictLog } from './verdict-log.js';

export type * from './glove/view.js';

/**
 * One physical glove: the whole chain, and the map of the program.
 *
 *   link ── bytes ──> codec ── samples ──> clock ──> sensing ──> hand ──> frame ──> listeners (stream, recorder)
 *                                                       │          │
 *                                                    curls      poses
 *                                                       v          v
 *   link <── bytes ── codec <── stops ── resistance <── requests and touches of apps (glove-resistance.ts)
 *
 * A sample runs the whole way in one call, without timers or promises in between. Beside it a slow beat notices
 * what does not come: silence, expiry, an unanswered hello.
 */
export interface GloveOptions {
  profile: Profile;
  glove: GloveProfile;
  link: Link;
  logger: Logger;
  /** Fits of this profile; none: the profile's own numbers count. */
  fits?: FitShelf;
  codec?: (messages: GloveMessages) => GloveCodec;
  clock?: Clock;
}

export interface LiveGlove extends Glove {
  /** Opens the link and keeps it. */
  start(): void;
  /** Leads the wearer through a check or a fit. */
  readonly guide: GloveGuide;
  readonly fits: FitShelf | undefined;
  /** Puts what is on the shelf of fits to use: the chain is made anew, disarmed. */
  refit(): Promise<void>;
  /** Frees every finger, tells the glove so, and closes the link. */
  close(): Promise<void>;
}

const BEAT_MS = 20;
const ASK_HELLO_US = 250_000;
/** Often enough for the glove's watchdog and for a figure of the round trip. */
const PING_US = 1_000_000;
const HEALTH_US = 1_000_000;
/** Samples read together take no longer than this, and the telling of the last: what apps ask waits no longer. */
const BEHIND_US = 10_000;
/** A glove that says it is a different one is believed so often at most: each time the chain is made anew. */
const DIFFERENT_US = 200_000;

export function createGlove(options: GloveOptions): LiveGlove {
  const { profile, glove, link, logger, clock: time = systemClock } = options;
  const { safety } = profile;
  const listeners = new Set<GloveListener>();
  const clock = createClock();
  const aheadDofs = new Float64Array(DOF_COUNT);
  const fingerOk = new Uint8Array(FINGERS.length);
  const disarmMask = glove.buttons.disarm === undefined ? 0 : 1 << glove.buttons.disarm;
  const stretchedHand = createStretchedHand(glove.controls.disarmStretchS);

  const frame: HandFrame = {
    timeUs: 0,
    valid: false,
    reason: 'The glove has not sent samples yet.',
    space: 'wrist',
    fingerStates: new Uint8Array(FINGERS.length).fill(INVALID),
    poses: createPoses(),
    velocities: createVelocities(),
    skipped: 0,
  };
  const wrist = createGloveWrist(frame);
  const verdictLog = createVerdictLog(logger, glove.name);

  let hello: Hello | undefined;
  const heard: Heard = { introduced: false, sampleTimeUs: Number.NEGATIVE_INFINITY };
  /** Of a recording: in place of those on the shelf. */
  let recordedFits: FitsInUse | undefined;
  let chain = newChain();
  let device: DeviceState | undefined;
  let arrivalUs = 0;
  let differentUs = Number.NEGATIVE_INFINITY;
  let askedHelloUs = Number.NEGATIVE_INFINITY;
  let pingedUs = Number.NEGATIVE_INFINITY;
  let pingToken = 0;
  let cancelBeat = (): void => {};
  let healthVersion = -1;
  let healthToldUs = Number.NEGATIVE_INFINITY;
  let poses = 0;
  /** Of chains that were replaced. */
  const earlierEvents = new Float64Array(EVENT_REASONS.length);
  let samplesSince = 0;
  let rateSinceUs = 0;
  let rateHz = 0;
  let stopped = false;
  let beatUs = Number.NEGATIVE_INFINITY;
  let burstsTold = false;
  let toldTrouble: string | undefined;
  /** Of the glove that a recording was begun with, until it has said what it is. */
  let recordedDrift: readonly (number | null)[] | undefined;

  const messages: GloveMessages = {
    hello: introduce,
    samples: takeSamples,
    state(state) {
      device = state;
      for (const listener of listeners) listener.health?.();
    },
    pong(pong) {
      if (pong.token === pingToken) clock.pong(pingedUs, pong.deviceTimeUs, arrivalUs);
    },
    note: (text) => logEvent(logger, 'glove.note', { glove: glove.name, text }),
  };
  const codec = (options.codec ?? createFrameCodec)(messages);
  const forces = createGloveForces({
    chain: () => chain,
    frame,
    heard,
    link,
    codec,
    time,
    listeners,
    send,
    asked,
  });
  const guide = createGloveGuide({
    name: glove.name,
    hand: () => chain.description.hand,
    channels: () => chain.sensing.channels,
    promisedHz: () => chain.description.sampleRateHz,
    counters: codec.counters,
    clock,
    closing: () => chain.sensing.closing,
    found: (verdicts) => chain.sensing.health.adopt(verdicts),
    pinchGapMm: (fit, counts) =>
      pinchGapMm(mergeFit(glove, fit.channels), chain.sensing, chain.skeleton, counts),
    // A glove that talks in lines knows no "free": what frees it hangs on the very numbers that are sought.
    stops: () => (codec.plain ? [] : stopsToFit(chain.actuators, chain.travel)),
    resistance: () => chain.resistance,
    arm: forces.arm,
    disarm: forces.disarm,
  });

  // ---- glove -> apps -----------------------------------------------------------------------------------------

  function takeBytes(chunk: Uint8Array, atUs: number): void {
    arrivalUs = atUs;
    for (const listener of listeners) listener.bytes?.(chunk, atUs);
    codec.push(chunk, atUs);
    if (frame.skipped === 0) return;
    frame.skipped--;
    tellFrame();
  }

  function tellFrame(): void {
    for (const listener of listeners) listener.frame?.(frame);
    frame.skipped = 0;
  }

  function takeSamples(samples: Samples): void {
    if (!heard.introduced || stopped) return;
    const timeUs = clock.map(samples.deviceTimeUs, arrivalUs);
    const { sensing, skeleton, inputs } = chain;
    sensing.update(samples, timeUs);
    guide.sample(sensing.counts, timeUs);
    forwardKinematics(skeleton, sensing.dofs, frame.poses, wrist.place(sensing.wrist, arrivalUs));
    jointVelocities(skeleton, sensing.dofRates, frame.poses, frame.velocities);
    frame.fingerStates.set(sensing.fingerStates);
    frame.timeUs = timeUs;
    frame.valid = true;
    frame.reason = undefined;
    samplesSince++;
    poses++;

    const nowUs = time.nowUs();
    // In a replay, samples carry the time they were recorded at: only their age on arrival counts.
    heard.sampleTimeUs = nowUs - (arrivalUs - timeUs);
    const stretched = stretchedHand.update(sensing.curl, sensing.fingerStates, timeUs);
    if (chain.resistance.armed) {
      if ((sensing.buttons & disarmMask) !== 0) forces.disarm('glove button');
      else if (stretched) forces.disarm('stretched hand');
    }
    if (guide.running) {
      for (let finger = 0; finger < fingerOk.length; finger++) {
        fingerOk[finger] = sensing.fingerStates[finger] === TRACKED ? 1 : 0;
      }
      guide.feel(nowUs, sensing.curl, fingerOk, sensing.counts);
    }
    forces.follow(nowUs);

    const inputsChanged = inputs.update(sensing, frame.poses);
    // Behind with what was read at once: the newest of it is told, and apps get their turn to ask for less force.
    if (!link.recorded && nowUs - arrivalUs > BEHIND_US) frame.skipped++;
    else tellFrame();
    if (inputsChanged) for (const listener of listeners) listener.inputs?.();
    if (sensing.health.version !== healthVersion) {
      healthVersion = sensing.health.version;
      verdictLog.take(sensing.health.verdicts, sensing.channels, nowUs);
      for (const listener of listeners) listener.health?.();
    }
  }

  function introduce(said: Hello): void {
    const different = hello === undefined || !sameGlove(hello, said);
    if (different) {
      forces.letGo();
      if (!link.recorded && arrivalUs - differentUs < DIFFERENT_US) {
        heard.introduced = false;
        return;
      }
      differentUs = arrivalUs;
      guide.stop('The glove turned out to be a different one.');
      hello = said;
      replaceChain();
      if (recordedDrift) chain.sensing.adoptDrift(recordedDrift);
      logEvent(logger, 'glove.hello', { glove: glove.name, hand: said.hand, deviceId: said.deviceId });
      if (said.hand !== glove.hand) {
        logEvent(
          logger,
          'glove.otherHand',
          { glove: glove.name },
          `the profile says ${glove.hand}, the glove is a ${said.hand} one and served as that: correct "hand" in the profile`,
        );
      }
    }
    heard.introduced = true;
    recordedDrift = undefined;
    toldTrouble = undefined;
    if (different) for (const listener of listeners) listener.described?.();
  }

  function replaceChain(): void {
    chain.resistance.eventTotals.forEach((count, reason) => {
      earlierEvents[reason] += count;
    });
    chain = newChain();
  }

  /** Its hand is shown at once, at rest, until samples come. */
  function newChain(): Chain {
    const made = makeChain(options, hello, recordedFits);
    forwardKinematics(made.skeleton, made.sensing.dofs, frame.poses, wrist.root);
    frame.velocities.fill(0);
    return made;
  }

  async function refit(): Promise<void> {
    await prepareChain(options, chain.description.hand);
    if (!stopped) putFitsToUse();
  }

  function putFitsToUse(): void {
    forces.letGo();
    guide.stop('Another fit was put to use.');
    replaceChain();
    for (const listener of listeners) listener.described?.();
  }

  /** What shaped the hand while it was recorded is done again. */
  function repeatAct(act: RecordedAct, timeUs: number): void {
    if (act.type === 'tracker') wrist.track(act, timeUs);
    else if (act.type === 'rezero') chain.sensing.rezero();
    else if (act.type === 'drift') {
      recordedDrift = act.memory;
      chain.sensing.adoptDrift(recordedDrift);
    } else if (JSON.stringify(act.fits) !== JSON.stringify(chain.fits)) {
      recordedFits = act.fits;
      putFitsToUse();
    }
  }

  function takeStatus(status: LinkStatus): void {
    if (status.state === 'live') {
      codec.reset();
      clock.restart();
      heard.introduced = false;
      burstsTold = false;
      askHello(time.nowUs());
      logEvent(logger, 'link.live', { glove: glove.name, address: status.address });
    } else if (stopped) {
      frame.valid = false;
    } else if (frame.valid || heard.introduced) {
      goSilent(status.error?.line ?? `The link to the glove is ${status.state}.`);
    } else if (status.error) {
      frame.reason = status.error.line;
    }
    // Whoever pulled the plug to get free is not held when it is back. In a replay nobody is held at all.
    if (chain.resistance.armed && !link.recorded) {
      forces.disarm(status.state === 'live' ? 'a new connection' : 'the link was lost');
    }
    // Told once, for it is tried again for ever: anew when it is another one, or when the glove was there meanwhile.
    if (status.error && status.error.line !== toldTrouble) {
      const { state, error } = status;
      toldTrouble = error.line;
      logEvent(logger, 'link.trouble', { glove: glove.name, state, code: error.code }, error.line);
    }
    for (const listener of listeners) listener.health?.();
  }

  /** No samples: apps are told at once, fingers are free, and nothing of the past is carried on. */
  function goSilent(reason: string): void {
    heard.introduced = heard.introduced && link.status.state === 'live';
    frame.reason = reason;
    rateHz = 0;
    if (!frame.valid) return;
    frame.valid = false;
    frame.fingerStates.fill(INVALID);
    frame.velocities.fill(0);
    frame.timeUs += 1;
    chain.sensing.reset();
    heard.sampleTimeUs = Number.NEGATIVE_INFINITY;
    forces.step(time.nowUs());
    // A replay that jumps is no trouble.
    if (!link.recorded) logEvent(logger, 'glove.silent', { glove: glove.name }, reason);
    tellFrame();
  }

  function beat(): void {
    cancelBeat = time.after(BEAT_MS, beat);
    const nowUs = time.nowUs();
    guide.notice(nowUs);
    // After a stall of this process, samples may be waiting unread: look again at the next beat.
    const punctual = nowUs - beatUs < 3 * BEAT_MS * 1000;
    beatUs = nowUs;
    if (link.status.state === 'live' && !link.recorded) {
      if (!heard.introduced && nowUs - askedHelloUs >= ASK_HELLO_US) askHello(nowUs);
      if (heard.introduced && nowUs - pingedUs >= PING_US) {
        pingedUs = nowUs;
        pingToken = (pingToken + 1) >>> 0;
        send(codec.ping(pingToken), false, nowUs);
      }
      if (punctual && frame.valid && nowUs - heard.sampleTimeUs > safety.staleMs * 1000) {
        goSilent(`No samples for ${safety.staleMs} ms: the glove or its cable is silent.`);
      }
    }
    forces.step(nowUs);
    forces.repeatRelease(nowUs);
    verdictLog.flush(nowUs);
    if (nowUs - healthToldUs >= HEALTH_US) {
      rateHz = nowUs > rateSinceUs ? (samplesSince * 1e6) / (nowUs - rateSinceUs) : 0;
      samplesSince = 0;
      rateSinceUs = nowUs;
      healthToldUs = nowUs;
      adviseOnBursts();
    }
  }

  const serialPath = () => (glove.link.kind === 'serial' ? link.status.address : undefined);

  /** Once a connection: samples that come in bursts are late, and the wearer can mend that. */
  function adviseOnBursts(): void {
    const path = serialPath();
    if (burstsTold || path === undefined || clock.status.batchMs === 0) return;
    burstsTold = true;
    logEvent(logger, 'link.bursts', { glove: glove.name }, latencyAdvice(clock.status.batchMs, path));
    for (const listener of listeners) listener.health?.();
  }

  function askHello(nowUs: number): void {
    askedHelloUs = nowUs;
    send(codec.askHello());
  }

  // ---- apps -> glove: glove-resistance.ts, by these two -----------------------------------------------------

  function send(bytes: Uint8Array, urgent = false, nowUs = time.nowUs()): boolean {
    if (bytes.length === 0) return true;
    const taken = link.write(bytes, urgent);
    if (taken) for (const listener of listeners) listener.sent?.(bytes, nowUs);
    return taken;
  }

  function asked(app: string, request: AppRequest, refusal?: Refusal): Refusal | undefined {
    for (const listener of listeners) listener.asked?.(app, request, refusal);
    return refusal;
  }

  return {
    frame,
    guide,
    fits: options.fits,
    refit,
    get description() {
      return chain.description;
    },
    get fitsInUse() {
      return chain.fits;
    },
    rememberDrift: () => chain.sensing.rememberDrift(),
    get linkStatus() {
      return link.status;
    },
    get connected() {
      return forces.connected;
    },
    get armed() {
      return chain.resistance.armed;
    },

    start() {
      rateSinceUs = time.nowUs();
      link.open({
        bytes: takeBytes,
        status: takeStatus,
        silent: goSilent,
        pinged(token, sentUs) {
          pingToken = token;
          pingedUs = sentUs;
        },
        acted: repeatAct,
      });
      beat();
    },

    async close() {
      stopped = true;
      cancelBeat();
      const heardOften = forces.shutdown();
      if (heardOften) await heardOften;
      await link.close();
    },

    listen(listener) {
      listeners.add(listener);
      return () => void listeners.delete(listener);
    },

    predict(aheadS, poses) {
      const { sensing, skeleton } = chain;
      for (let dof = 0; dof < DOF_COUNT; dof++) {
        const now = sensing.dofs[dof];
        const ahead = now + sensing.dofRates[dof] * aheadS;
        // Never further beyond a joint's range than it is now.
        aheadDofs[dof] = Math.max(Math.min(DOF_MIN[dof], now), Math.min(Math.max(DOF_MAX[dof], now), ahead));
      }
      forwardKinematics(skeleton, aheadDofs, poses, wrist.root);
    },

    readInputs: () => reportInputs(chain.description.hand, chain.inputs, frame),

    readSignals: () => reportSignals(chain.description.hand, chain.sensing, frame.timeUs),

    readMetrics() {
      const { eventTotals } = chain.resistance;
      const interventions = EVENT_REASONS.map((name, i) => [name, earlierEvents[i] + eventTotals[i]]);
      return {
        counters: codec.counters,
        clock: clock.status,
        rateHz,
        poses,
        releases: forces.releases,
        interventions: Object.fromEntries(interventions) as Record<string, number>,
      };
    },

    readHealth() {
      const { sensing, description } = chain;
      const { hand } = description;
      return {
        timeUs: time.nowUs(),
        ...reportHealth({
          hand,
          link: link.status,
          sensing,
          rateHz,
          counters: codec.counters,
          device,
          clock,
          serialPath: serialPath(),
        }),
      };
    },

    readResistance: forces.read,
    recordResistance: forces.record,
    resist: forces.resist,
    touch: forces.touch,
    pulse: forces.pulse,
    release: forces.release,
    drop: forces.drop,

    track(request) {
      if (wrist.track(request, time.nowUs())) asked('', request);
    },

    rezero(by) {
      chain.sensing.rezero();
      asked(by, { type: 'rezero' });
    },

    arm: forces.arm,

    disarm(by) {
      forces.disarm(by);
      asked(by, { type: 'disarm' });
    },
  };
}
