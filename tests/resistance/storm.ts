import type { ActuatorProfile, SafetyProfile } from '../../src/config/schema.js';
import { fingerDrivesOf } from '../../src/resistance/actuators.js';
import { arbitrate, makeAsked } from '../../src/resistance/arbitration.js';
import { Governor } from '../../src/resistance/governor.js';
import type { GovernorInputs } from '../../src/resistance/governor-step.js';
import { GUARDS } from '../../src/resistance/guards.js';
import type { LimitName } from '../../src/resistance/limits.js';
import { RequestStore } from '../../src/resistance/requests.js';
import { FIVE_SERVOS, SAFETY, servo } from './profiles.js';

/**
 * Five apps, a hand and every fault at random against one governor, watched by a referee that knows only
 * what went in and what came out, and does its own arithmetic.
 */

export const INVARIANTS = [
  'finite',
  'disarmWins',
  'shutdownIsForEver',
  'freeAfterClockJump',
  'freeWhenLinkLost',
  'freeWhenStale',
  'freeWhenFaulty',
  'freeWhenInvalid',
  'freeAfterExpiry',
  'freeWithoutActuator',
  'stopNeverMovedBehindFinger',
  'noNearerToStuckFinger',
  'noNearerToCreepingFinger',
  'stopRate',
  'tension',
  'holdTime',
  'heat',
  'supply',
] as const;
export type Invariant = (typeof INVARIANTS)[number];

export interface Verdict {
  steps: number;
  /** First violation of each invariant. */
  violations: Map<Invariant, string>;
  /** Finger-steps with force: a governor that gives nothing breaks no invariant. */
  heldSteps: number;
  /** Times that each limit acted. */
  acted: Map<LimitName, number>;
}

/** Small, fast, seeded (Marsaglia's xorshift, 2003). */
export function randomSource(seed: number): () => number {
  // In a typed array, so that no number is boxed.
  const x = new Uint32Array([Math.imul(seed + 1, 2654435761) || 1]);
  return () => {
    x[0] ^= x[0] << 13;
    x[0] ^= x[0] >>> 17;
    x[0] ^= x[0] << 5;
    return x[0] / 4294967296;
  };
}

const APPS = ['one', 'two', 'three', 'four', 'five'];
const LAYERS = ['', 'other'];
/**
 * A sensor that stands still while every other finger has gone this far, or creeps by this much a second for this long,
 * says nothing of where its finger is.
 */
const OTHERS_GO = 0.6;
const CREEP_PER_S = 0.15;
const CREPT_FOR_S = 0.5;
const LAST_MOTION_US = 250_000;
/** What the stop may follow of it: it had moved until then, and may have been coming to rest. */
const MOST_CREPT = 0.1;
/** How far a pressed finger may be past its stop; read off the documentation, not off the code. */
const MOST_PRESS = 0.06;
const REARM_PAUSE_US = 250_000;
const GAP_US = 200_000;
const EPSILON = 1e-9;

interface Setting {
  actuators: ActuatorProfile[];
  safety: SafetyProfile;
  /** Long full-effort grips in place of quick random requests. */
  grips: boolean;
}

/** Gloves that bring each limit into play. */
export const SETTINGS: Setting[] = [
  { actuators: FIVE_SERVOS, safety: SAFETY, grips: false },
  // Weaker than the cap, quick to warm: heat and supply bind.
  {
    actuators: FIVE_SERVOS.map(({ role }) => servo(role, { stallTorqueNm: 0.07, maxHoldS: 1, coolS: 6 })),
    safety: SAFETY,
    grips: true,
  },
  // Strong servos held down to the cap, short hold.
  {
    actuators: FIVE_SERVOS.map(({ role }) => servo(role, { maxHoldS: 0.8, coolS: 5 })),
    safety: SAFETY,
    grips: true,
  },
  // Four fingers, one of them on a brake.
  {
    actuators: [servo('thumb'), servo('index', { kind: 'brake' }), servo('middle'), servo('ring')],
    safety: { ...SAFETY, maxStopRatePerS: 3, maxSupplyA: 1 },
    grips: false,
  },
  // Hobby servos: all they have, or nothing. One is too strong for the cap, one heeds the effort.
  {
    actuators: FIVE_SERVOS.map(({ role }, finger) =>
      servo(role, {
        torqueControl: finger === 0,
        spoolRadiusMm: finger === 1 ? 10 : 20,
        maxHoldS: 0.8,
        coolS: 5,
      }),
    ),
    safety: SAFETY,
    grips: true,
  },
];

const EPISODE_STEPS = 12_500;

export function storm(options: {
  steps: number;
  seed: number;
  without?: readonly LimitName[];
  /** End as soon as this is violated. */
  until?: Invariant;
}): Verdict {
  const verdict: Verdict = { steps: 0, violations: new Map(), heldSteps: 0, acted: new Map() };
  const guards = GUARDS.filter((guard) => !options.without?.includes(guard.name));
  for (let episode = 0; verdict.steps < options.steps; episode++) {
    runEpisode(
      SETTINGS[episode % SETTINGS.length],
      options.seed * 1000 + episode,
      guards,
      verdict,
      options.until,
    );
    if (options.until && verdict.violations.has(options.until)) break;
  }
  return verdict;
}

function runEpisode(
  { actuators, safety, grips }: Setting,
  seed: number,
  guards: typeof GUARDS,
  verdict: Verdict,
  until: Invariant | undefined,
): void {
  const random = randomSource(seed);
  const chance = (p: number) => random() < p;
  const governor = new Governor(fingerDrivesOf(actuators), safety, guards);
  const store = new RequestStore({ maxApps: 5, maxLayers: 2, maxTtlUs: safety.maxTtlMs * 1000 });
  const asked = makeAsked();
  const inputs: GovernorInputs = {
    stops: asked.stops,
    efforts: asked.efforts,
    expiresUs: asked.expiresUs,
    curls: new Float64Array(5),
    healthy: new Uint8Array(5).fill(1),
    pulseDrives: new Float64Array(5),
    pulseCurrentA: 0,
    sampleAgeUs: 0,
    linkLive: true,
  };

  // What the referee knows.
  const own = [0, 1, 2, 3, 4].map((finger) =>
    actuators.find(({ role }) => role === FIVE_SERVOS[finger].role),
  );
  const stallN = own.map((one) => (one ? one.stallTorqueNm / (one.spoolRadiusMm / 1000) : 0));
  const askedUntilUs = new Float64Array(APPS.length * LAYERS.length * 5);
  let armed = false;
  let shut = false;
  let disarmedUs = Number.NEGATIVE_INFINITY;
  let lastUs = Number.NaN;
  const lastStops = new Float64Array(5).fill(1);
  const strainedS = new Float64Array(5);
  const heats = new Float64Array(5);
  const lastSquares = new Float64Array(5);

  // The hand.
  const wanted = new Float64Array(5);
  const real = new Float64Array(5);
  const unhealthyFor = new Int32Array(5);
  // Sensors that stick, or creep towards open, where they are.
  const stuckFor = new Int32Array(5);
  const stuckUs = new Float64Array(5);
  const stuckFrom = new Float64Array(5);
  const creepPerS = new Float64Array(5);
  const othersAtStick = new Float64Array(25);
  const othersWay = new Float64Array(25);
  let nowUs = 1e6;
  let staleFor = 0;
  let lostFor = 0;
  let stalledFor = 0;
  const stops = new Float64Array(5);
  const efforts = new Float64Array(5);

  const fail = (invariant: Invariant, finger: number, detail: string) => {
    if (!verdict.violations.has(invariant)) {
      verdict.violations.set(invariant, `seed ${seed}, t ${nowUs}, finger ${finger}: ${detail}`);
    }
  };
  const disarm = () => {
    governor.disarm(nowUs, 'wearer');
    if (governor.outputs.anyHeld) fail('disarmWins', -1, 'held after disarm returned');
    armed = false;
    disarmedUs = nowUs;
    lastStops.fill(1);
    lastSquares.fill(0);
  };

  for (let n = 0; n < EPISODE_STEPS; n++) {
    if (until && verdict.violations.has(until)) return;
    // Time, with its faults.
    const quietUs = lastUs;
    const kind = random();
    if (kind < 0.0005) nowUs += 300_000;
    else if (kind < 0.001) nowUs -= 1 + random() * 50_000;
    else if (kind < 0.98) nowUs += 500 + random() * 8000;
    const stepTimeUs = chance(0.0002) ? Number.NaN : nowUs;
    const sampledUs = nowUs;

    // The wearer.
    if (n > EPISODE_STEPS - 400 && !shut) {
      governor.shutdown(nowUs);
      shut = true;
      armed = false;
      lastStops.fill(1);
      lastSquares.fill(0);
    }
    if (chance(0.0008)) disarm();
    if (chance(armed ? 0.001 : 0.05)) {
      const granted = governor.arm(nowUs, 'wearer');
      if (granted && shut) fail('shutdownIsForEver', -1, 'armed after shutdown');
      if (granted && nowUs - disarmedUs < REARM_PAUSE_US)
        fail('disarmWins', -1, 'armed right after a disarm');
      armed = armed || (granted && !shut);
      // Both at once, in either order: disarm wins.
      if (chance(0.02)) {
        disarm();
        if (governor.arm(nowUs, 'app')) fail('disarmWins', -1, 'arm undid a disarm of the same moment');
      }
    }

    // The apps.
    const app = Math.floor(random() * 5);
    const layer = chance(0.2) ? 1 : 0;
    const at = (app * 2 + layer) * 5;
    if (chance(0.01)) {
      store.drop(APPS[app]);
      askedUntilUs.fill(0, app * 10, app * 10 + 10);
    } else if (chance(grips ? 0.2 : 0.35)) {
      const ttlUs = grips ? 1e6 : chance(0.01) ? Number.NaN : random() * 400_000;
      for (let finger = 0; finger < 5; finger++) {
        stops[finger] = grips ? 0.4 : random() * 1.4 - 0.2;
        efforts[finger] = grips ? 1 : chance(0.3) ? 0 : random() * 1.3;
        if (chance(0.001)) stops[finger] = chance(0.5) ? Number.NaN : Number.POSITIVE_INFINITY;
        if (chance(0.001)) efforts[finger] = chance(0.5) ? Number.NaN : -1;
        if (efforts[finger] !== 0) askedUntilUs[at + finger] = ttlUs > 0 ? nowUs + ttlUs : 0;
        else askedUntilUs[at + finger] = 0;
      }
      store.set(APPS[app], LAYERS[layer], stops, efforts, ttlUs, nowUs);
    }
    // A pause of all apps now and then, so that requests run out.
    if (chance(0.001)) nowUs += 150_000;
    if (stalledFor > 0) stalledFor--;
    else if (chance(0.0005)) stalledFor = Math.floor(random() * 60);

    // The glove.
    if (staleFor > 0) staleFor--;
    else if (chance(0.0005)) staleFor = Math.floor(random() * 60);
    if (lostFor > 0) lostFor--;
    else if (chance(0.0005)) lostFor = Math.floor(random() * 60);
    inputs.linkLive = lostFor === 0;
    inputs.sampleAgeUs =
      staleFor > 0
        ? chance(0.05)
          ? Number.NaN
          : safety.staleMs * 1000 * (1.001 + random())
        : random() * 20_000;
    inputs.pulseCurrentA = chance(0.1) ? random() * 0.5 : 0;
    for (let finger = 0; finger < 5; finger++) {
      if (chance(0.01)) wanted[finger] = random();
      if (grips && chance(0.05)) wanted[finger] = 0.6;
      real[finger] += (wanted[finger] - real[finger]) * 0.1;
      // A string does not stretch much; a slipping servo lets the finger through now and then.
      const stop = lastStops[finger];
      if (real[finger] > stop + 0.01 && !chance(0.02)) real[finger] = stop + 0.01;
      if (stuckFor[finger] > 0) stuckFor[finger]--;
      else if (chance(0.001)) {
        stuckFor[finger] = Math.floor(random() * 2000);
        stuckUs[finger] = sampledUs;
        othersWay.fill(0, finger * 5, finger * 5 + 5);
        stuckFrom[finger] = real[finger];
        creepPerS[finger] = chance(0.5) ? 0 : CREEP_PER_S;
      }
      const reading =
        stuckFor[finger] > 0
          ? Math.max(0, stuckFrom[finger] - creepPerS[finger] * ((sampledUs - stuckUs[finger]) / 1e6))
          : real[finger];
      inputs.curls[finger] = reading + (random() - 0.5) * 0.01;
      if (unhealthyFor[finger] > 0) unhealthyFor[finger]--;
      else if (chance(0.0003)) unhealthyFor[finger] = Math.floor(random() * 60);
      inputs.healthy[finger] = unhealthyFor[finger] > 0 ? 0 : 1;
      if (chance(0.0002)) inputs.curls[finger] = Number.NaN;
    }

    // A stalled arbitration leaves what it said before standing.
    if (stalledFor === 0) {
      arbitrate(store, inputs.curls, safety.allowPull, stepTimeUs, asked);
    }
    const out = governor.step(stepTimeUs, inputs);
    if (Number.isFinite(stepTimeUs)) store.sweep(stepTimeUs);
    verdict.steps++;

    // The referee.
    const passedUs = Number.isNaN(quietUs) ? 0 : stepTimeUs - quietUs;
    const jumped = !(passedUs >= 0 && passedUs <= GAP_US);
    const passedS = jumped ? 0 : passedUs / 1e6;
    let currentA = inputs.pulseCurrentA;
    for (let finger = 0; finger < 5; finger++) {
      const held = out.held[finger] === 1;
      const stop = out.stops[finger];
      const curl = inputs.curls[finger];
      const actuator = own[finger];
      // What the actuator does, whatever it is told.
      const rigid = actuator?.kind === 'stringStop' && !actuator.torqueControl;
      const drive = rigid ? out.held[finger] : out.drives[finger];
      const sum = stop + drive + out.efforts[finger] + out.tensionsN[finger] + out.heats[finger];
      if (!Number.isFinite(sum)) fail('finite', finger, `${stop} ${drive} ${out.efforts[finger]}`);
      const force = held || drive !== 0 || out.tensionsN[finger] !== 0 || out.efforts[finger] !== 0;
      if (force) {
        if (!held) fail('finite', finger, 'force on a finger that is free');
        verdict.heldSteps++;
        if (shut) fail('shutdownIsForEver', finger, 'force after shutdown');
        else if (!armed) fail('disarmWins', finger, 'force while disarmed');
        if (jumped) fail('freeAfterClockJump', finger, `after ${passedUs} µs`);
        if (!inputs.linkLive) fail('freeWhenLinkLost', finger, 'force');
        if (!(inputs.sampleAgeUs <= safety.staleMs * 1000))
          fail('freeWhenStale', finger, `${inputs.sampleAgeUs}`);
        if (inputs.healthy[finger] !== 1 || Number.isNaN(curl))
          fail('freeWhenFaulty', finger, `curl ${curl}`);
        const soundAsked = Number.isFinite(inputs.stops[finger]) && inputs.efforts[finger] > 0;
        if (!soundAsked) fail('freeWhenInvalid', finger, `${inputs.stops[finger]} ${inputs.efforts[finger]}`);
        if (!actuator) fail('freeWithoutActuator', finger, `effort ${out.efforts[finger]}`);
        // A stalled arbitration may stand for what is dropped since, but never past its end.
        let untilUs = stalledFor > 0 ? asked.expiresUs[finger] : 0;
        for (let who = finger; who < askedUntilUs.length; who += 5)
          untilUs = Math.max(untilUs, askedUntilUs[who]);
        if (stepTimeUs >= untilUs) fail('freeAfterExpiry', finger, `ended at ${untilUs}`);
        const last = lastStops[finger];
        if (actuator?.kind === 'stringStop' && stuckFor[finger] > 0 && stop < last - EPSILON) {
          const others = [0, 1, 2, 3, 4].filter((other) => other !== finger);
          const stuck = others.every((other) => othersWay[finger * 5 + other] > OTHERS_GO);
          if (stuck && creepPerS[finger] === 0) fail('noNearerToStuckFinger', finger, `${last} -> ${stop}`);
          if (
            creepPerS[finger] > 0 &&
            sampledUs - stuckUs[finger] > CREPT_FOR_S * 1e6 &&
            stop < stuckFrom[finger] - MOST_CREPT
          ) {
            fail('noNearerToCreepingFinger', finger, `${last} -> ${stop}, crept from ${stuckFrom[finger]}`);
          }
        }
        if (actuator?.kind === 'stringStop') {
          if (stop < curl - EPSILON && stop < last - EPSILON) {
            fail('stopNeverMovedBehindFinger', finger, `${last} -> ${stop}, finger at ${curl}`);
          }
          if (stop < curl - MOST_PRESS - EPSILON) {
            fail('stopNeverMovedBehindFinger', finger, `stop ${stop} stays deep behind ${curl}`);
          }
        }
        if (stop < last - safety.maxStopRatePerS * passedS - EPSILON) {
          fail('stopRate', finger, `${last} -> ${stop} in ${passedS} s`);
        }
        const tensionN = Math.max(out.tensionsN[finger], drive * stallN[finger]);
        if (tensionN > safety.maxTensionN + EPSILON) fail('tension', finger, `${tensionN} N`);
      }
      if (!actuator) continue;
      currentA += drive * actuator.stallCurrentA;

      // Heat by small explicit steps; long pauses only cool.
      const gain = 0.8 / (actuator.coolS * (1 - Math.exp(-actuator.maxHoldS / actuator.coolS)));
      const ageS = passedUs > 0 ? passedUs / 1e6 : 0;
      const warmS = Math.min(ageS, 0.25);
      heats[finger] += warmS * (gain * lastSquares[finger] - heats[finger] / actuator.coolS);
      heats[finger] *= Math.exp(-(ageS - warmS) / actuator.coolS);
      if (heats[finger] > 1.03) fail('heat', finger, `${heats[finger]} of the budget`);
      const loaded = force && curl >= stop - 0.05;
      lastSquares[finger] = loaded ? drive * drive : 0;

      // One long hold: its sustained part, whole hold time and fade, with a step to spare.
      if (loaded && out.efforts[finger] > 0.51 && !jumped) strainedS[finger] += passedS;
      else strainedS[finger] = 0;
      if (strainedS[finger] > actuator.maxHoldS + 2.2) fail('holdTime', finger, `${strainedS[finger]} s`);
    }
    if (out.anyHeld && currentA > safety.maxSupplyA + EPSILON) fail('supply', -1, `${currentA} A`);
    for (let finger = 0; finger < 5; finger++) {
      lastStops[finger] = out.stops[finger];
      if (stuckFor[finger] === 0) continue;
      // Until then its last motion may still be seen.
      if (sampledUs - stuckUs[finger] < LAST_MOTION_US) {
        othersAtStick.set(inputs.curls, finger * 5);
        othersWay.fill(0, finger * 5, finger * 5 + 5);
      }
      // What a faulty sensor or a hand that was not looked at did meanwhile does not count.
      for (let other = 0; other < 5; other++) {
        const way = Math.abs(inputs.curls[other] - othersAtStick[finger * 5 + other]);
        const seen = inputs.healthy[other] === 1 && stuckFor[other] === 0;
        if (seen && way > othersWay[finger * 5 + other]) othersWay[finger * 5 + other] = way;
      }
    }
    if (Number.isFinite(stepTimeUs)) lastUs = stepTimeUs;
  }
  governor.events.drain((_timeUs, _finger, reason) => {
    if (reason !== 'armed') verdict.acted.set(reason, (verdict.acted.get(reason) ?? 0) + 1);
  });
}
