import type { GloveProfile } from '../config/schema.js';
import { type ClosingProfile, createClosingProfile, curlOf, setCurl } from '../hand/closing.js';
import { abductionLimit, coupleArch, coupleDip, DIP_PER_PIP, setSplay } from '../hand/coupling.js';
import { DOF_COUNT, DOFS_PER_FINGER, type DofArray, LITTLE_ARCH, RING_ARCH } from '../hand/dofs.js';
import { FINGERS, type HandSide } from '../hand/joints.js';
import { DOF_MAX, DOF_MIN } from '../hand/limits.js';
import { type NaturalMotion, naturalMotion } from '../hand/natural-motion.js';
import { INFERRED, INVALID, TRACKED } from '../hand/validity.js';
import type { Samples } from '../link/codec.js';
import type { ChannelRole } from '../link/table.js';
import { type Channel, compileChannels } from './channels.js';
import { createDebounce } from './debounce.js';
import { createDrift } from './drift.js';
import { createEased } from './ease.js';
import { createHealth, type Health } from './health.js';
import { joinLookups, lookAt, lookAtAll } from './lookup.js';
import { createOneEuroBank } from './one-euro.js';

/**
 * Counts to degrees of freedom, one call a sample:
 *
 *   counts -> look-up table (calibration) -> health gate -> One Euro -> easing over faults -> coupling -> dofs
 *
 * The gate holds a reading that no hand can have made. A channel that health gives up is held, then eased to
 * what the healthy channels suggest; its finger is then `inferred`.
 */

export interface SensingOptions {
  readonly glove: GloveProfile;
  /** Roles in the order of the samples: from the hello, or absent for the profile's order. */
  readonly channelRoles?: readonly ChannelRole[];
  readonly closing?: ClosingProfile;
  /** How the hand moves as a whole, made for the same skeleton and closing profile; absent: joint by joint. */
  readonly natural?: NaturalMotion;
  /** Assumed until samples have come, Hz; 0 when the glove does not say. */
  readonly sampleRateHz?: number;
  /** Judges the channels; absent: createHealth. */
  readonly health?: (channels: readonly Channel[]) => Health;
}

/** Index of each control in `controls`. */
export const CONTROL = { stickX: 0, stickY: 1, trigger: 2, squeeze: 3, thumbRest: 4 } as const;
const CONTROL_OF_ROLE: Partial<Record<ChannelRole, number>> = {
  'stick.x': CONTROL.stickX,
  'stick.y': CONTROL.stickY,
  trigger: CONTROL.trigger,
  squeeze: CONTROL.squeeze,
  thumbRest: CONTROL.thumbRest,
};

/** What the newest sample means. Every array is written in place and valid until the next sample. */
export interface Sensing {
  readonly side: HandSide;
  readonly closing: ClosingProfile;
  /** Time of the newest sample as given to update(), µs. */
  readonly timeUs: number;
  /** Curl per finger: 0 open, 1 closed, up to 0.04 beyond. */
  readonly curl: Float64Array;
  /** Curl a second; positive when closing. */
  readonly curlRates: Float64Array;
  /** Splay per finger: -1 together, 0 at rest, 1 spread wide. */
  readonly splay: Float64Array;
  /** Radians, within the joints' ranges. */
  readonly dofs: DofArray;
  /** Rad/s. */
  readonly dofRates: DofArray;
  /** Per finger: INVALID, INFERRED or TRACKED. */
  readonly fingerStates: Uint8Array;
  /** [x, y, z, w], unit; identity without wrist channels. */
  readonly wrist: Float64Array;
  /** By CONTROL: stick -1..1, the others 0..1. */
  readonly controls: Float64Array;
  /** By CONTROL: 1 if the glove has it and it works. */
  readonly hasControl: Uint8Array;
  /** Debounced bit field. */
  readonly buttons: number;
  /** The profile's channels. */
  readonly channels: readonly Channel[];
  /** Newest counts, calibrated and filtered value of each channel, in the order of `channels`. */
  readonly counts: Uint16Array;
  readonly raw: Float64Array;
  readonly values: Float64Array;
  readonly health: Health;
  /** Takes in one sample. @param timeUs time of the sample on the service's clock */
  update(samples: Samples, timeUs: number): void;
  /** The hand is held open now: take what is read as open. */
  rezero(): void;
  /** What was followed of slow shifts; adoptDrift() goes on from there. */
  rememberDrift(): number[];
  adoptDrift(memory: readonly (number | null)[]): void;
  /** After a lost link: the next sample is taken over without memory of the past; fingers are INVALID until then. */
  reset(): void;
  /** Part of the finger's string travel at a curl: where a servo on that string has to stop. */
  stopFraction(finger: number, curl: number): number;
}

/** A gap longer than this starts afresh; it cannot be filtered over. */
const GAP_S = 0.25;
/** A failed channel is held for this long before it is eased to the estimate: most faults are over sooner. */
const HOLD_S = 0.1;
/** Smooths the rates: far above the motion of a hand (some 8 Hz), below the noise. */
const RATE_CUTOFF_HZ = 15;
/** Rates below this are none, rad/s. */
const STILL = 1e-9;
/** Curl of a finger of which nothing is known. Common practice: a relaxed hand. */
const REST_CURL = [0.15, 0.2, 0.22, 0.25, 0.28] as const;
/** How much finger g (column) says about finger f (row): neighbours most, the thumb little. Common practice. */
const KINSHIP = [
  [0, 1, 0.6, 0.3, 0.2],
  [0.05, 0, 1, 0.4, 0.2],
  [0.02, 0.8, 0, 1, 0.4],
  [0.02, 0.3, 1, 0, 1],
  [0.02, 0.15, 0.4, 1, 0],
] as const;

// Places in `clock`.
const TIME_US = 0;
const DEVICE_US = 1;
const INTERVAL_S = 2;

const LIVE = 0;
const HELD = 1;
const GIVEN_UP = 2;
const ESTIMATED = 3;

const FINGER_COUNT = FINGERS.length;
const ALL_FINGERS = (1 << FINGER_COUNT) - 1;

export function createSensing(options: SensingOptions): Sensing {
  const { glove } = options;
  const closing = options.closing ?? createClosingProfile();
  const sent = options.channelRoles ?? glove.channels.map((channel) => channel.role);
  const channels = compileChannels(glove, sent, closing);
  const n = channels.length;
  const tables = joinLookups(channels.map((channel) => channel.lookup));
  const sources = Int16Array.from(channels, (channel) => channel.source);
  const kinds = channels.map((channel) => channel.kind);
  const fingers = Int8Array.from(channels, (channel) => channel.finger);
  const controlOf = Int8Array.from(channels, (channel) => CONTROL_OF_ROLE[channel.role] ?? -1);

  // Where each finger's values come from: channel numbers, -1 for none. A finger without any flexion channel has
  // a slot of its own behind the channels, which always holds an estimate.
  const findSlot = (kind: Channel['kind'], finger: number, part: number) =>
    channels.findIndex((c) => c.kind === kind && c.finger === finger && c.part === part);
  const curlSlot = Int8Array.from(FINGERS, (_, f) => findSlot('curl', f, 0));
  const splaySlot = Int8Array.from(FINGERS, (_, f) => findSlot('splay', f, 1));
  const jointSlot = Int8Array.from({ length: FINGER_COUNT * 4 }, (_, i) => findSlot('joint', i >> 2, i & 3));
  const archSlot = findSlot('arch', -1, 0);
  const wristSlots = [0, 1, 2, 3].map((part) => findSlot('wrist', -1, part));
  const hasWrist = wristSlots.every((slot) => slot >= 0 && sources[slot] >= 0);
  const hasJoints = Uint8Array.from(FINGERS, (_, f) =>
    [0, 2, 3].some((part) => jointSlot[f * 4 + part] >= 0) ? 1 : 0,
  );

  // A thumb or palm that is sensed joint by joint is shown as it is.
  const { natural } = options;
  const guided = natural !== undefined && hasJoints[0] === 0 && archSlot < 0;

  const counts = new Uint16Array(n);
  const raw = new Float64Array(n);
  const mode = new Uint8Array(n);
  const modeS = new Float64Array(n);
  const eased = createEased(n + FINGER_COUNT);
  const values = eased.shown;
  const bank = createOneEuroBank(n, glove.filter, 1 / (options.sampleRateHz || 100));
  const health = (options.health ?? createHealth)(channels);
  const drift = createDrift(channels, glove.drift, health.unusable);
  const debounce = createDebounce(glove.controls.debounceMs);

  const curl = new Float64Array(FINGER_COUNT);
  const curlRates = new Float64Array(FINGER_COUNT);
  const splay = new Float64Array(FINGER_COUNT);
  const measured = new Float64Array(FINGER_COUNT);
  const fingerStates = new Uint8Array(FINGER_COUNT).fill(INVALID);
  const dofs = new Float64Array(DOF_COUNT);
  const previousDofs = new Float64Array(DOF_COUNT);
  const previousCurl = new Float64Array(FINGER_COUNT);
  const dofRates = new Float64Array(DOF_COUNT);
  const wrist = Float64Array.of(0, 0, 0, 1);
  const controls = new Float64Array(5);
  const hasControl = new Uint8Array(5);

  // Running numbers in an array: as variables of the closure each would be a new object at every change.
  const clock = Float64Array.of(0, 0, 1 / (options.sampleRateHz || 100));
  let started = false;
  let trackedMask = -1;
  /** No channel is held, given up, eased or sends a wrist: values are what the filter says. */
  let calm = false;

  /** Seconds since the last sample by the glove's clock; 0 asks to start afresh. */
  function interval(deviceTimeUs: number): number {
    const delta = (deviceTimeUs - clock[DEVICE_US]) >>> 0;
    clock[DEVICE_US] = deviceTimeUs;
    if (!started) return 0;
    const dt = delta * 1e-6;
    if (dt > 0 && dt <= GAP_S) {
      clock[INTERVAL_S] = dt;
      return dt;
    }
    // A clock that stands still or goes back (the glove restarted) tells nothing: assume the usual pace.
    if (delta === 0 || delta > 0x80000000) return clock[INTERVAL_S];
    return 0;
  }

  function readChannels(samples: Samples): void {
    for (let i = 0; i < n; i++) {
      const source = sources[i];
      if (source >= 0 && source < samples.channelCount) counts[i] = samples.channels[source];
    }
  }

  /** The sensor of a wrist quaternion may turn its sign at will; keep to the side of the last one. */
  function alignWrist(): void {
    let dot = 0;
    for (let part = 0; part < 4; part++) dot += raw[wristSlots[part]] * wrist[part];
    if (dot < 0) for (let part = 0; part < 4; part++) raw[wristSlots[part]] *= -1;
  }

  function calibrate(dtS: number): void {
    const steady = drift.correct(counts, dtS);
    if (health.troubled === 0) lookAtAll(tables, steady, raw);
    else {
      const { suspect, unusable } = health;
      for (let i = 0; i < n; i++) {
        if (suspect[i] === 0 && unusable[i] === 0) raw[i] = lookAt(tables, i, steady[i]);
      }
    }
    if (hasWrist) alignWrist();
  }

  /** Decides for each channel whether it is live, held or estimated, and eases over every change. */
  function settleChannels(dtS: number): void {
    const { suspect, unusable } = health;
    for (let i = 0; i < n; i++) {
      const was = mode[i];
      if (unusable[i] !== 0) {
        if (was === LIVE || was === HELD) {
          mode[i] = sources[i] < 0 ? ESTIMATED : GIVEN_UP;
          modeS[i] = 0;
        } else if (was === GIVEN_UP) {
          modeS[i] += dtS;
          if (modeS[i] >= HOLD_S) {
            mode[i] = ESTIMATED;
            eased.swap(i, estimateOf(i));
          }
        }
      } else if (suspect[i] !== 0) {
        if (was === LIVE) mode[i] = HELD;
      } else if (was !== LIVE) {
        mode[i] = LIVE;
        bank.reset(i);
        bank.values[i] = raw[i];
        eased.swap(i, raw[i]);
      }
    }
  }

  const isMeasured = (i: number): boolean => mode[i] === LIVE || mode[i] === HELD;

  /** Which fingers are sensed, and their curl as a basis for the others. */
  function findTracked(): number {
    let mask = 0;
    for (let f = 0; f < FINGER_COUNT; f++) {
      let all = true;
      let sum = 0;
      let used = 0;
      const c = curlSlot[f];
      if (c >= 0) {
        all = isMeasured(c);
        sum = values[c];
        used = 1;
      }
      if (hasJoints[f] !== 0) {
        for (let part = 0; part < 4; part++) {
          const j = jointSlot[f * 4 + part];
          if (j < 0) continue;
          if (!isMeasured(j)) all = false;
          if (c < 0) {
            sum += values[j];
            used++;
          }
        }
      }
      if (used === 0) continue;
      measured[f] = sum / used;
      const s = splaySlot[f];
      if (s >= 0 && !isMeasured(s)) fingerStates[f] = INFERRED;
      else fingerStates[f] = all ? TRACKED : INFERRED;
      if (all) mask |= 1 << f;
    }
    return mask;
  }

  function estimateCurl(f: number): number {
    const kin = KINSHIP[f];
    let sum = 0;
    let weight = 0;
    for (let g = 0; g < FINGER_COUNT; g++) {
      if (g === f || (trackedMask & (1 << g)) === 0) continue;
      sum += kin[g] * measured[g];
      weight += kin[g];
    }
    return weight > 0 ? sum / weight : REST_CURL[f];
  }

  function estimateOf(i: number): number {
    const f = fingers[i];
    const kind = kinds[i];
    if (kind === 'wrist') return values[i];
    if (f < 0 || kind === 'splay') return 0;
    if (kind === 'joint') {
      // The finger's other joints know best.
      let sum = 0;
      let used = 0;
      for (let part = 0; part < 4; part++) {
        const j = jointSlot[f * 4 + part];
        if (j < 0 || j === i || !isMeasured(j)) continue;
        sum += values[j];
        used++;
      }
      if (used > 0) return sum / used;
    }
    return estimateCurl(f);
  }

  function followChannels(dtS: number): void {
    const filtered = bank.values;
    let estimates = false;
    for (let i = 0; i < n; i++) {
      if (mode[i] <= HELD) eased.follow(i, filtered[i], dtS);
      else estimates = true;
    }
    const mask = findTracked();
    if (mask !== trackedMask) {
      const first = trackedMask < 0;
      trackedMask = mask;
      // The estimates now rest on other fingers.
      for (let i = 0; i < n; i++) if (mode[i] === ESTIMATED) swapTo(i, estimateOf(i), first);
      for (let f = 0; f < FINGER_COUNT; f++) {
        if (curlSlot[f] < 0 && hasJoints[f] === 0) swapTo(n + f, estimateCurl(f), first);
      }
    }
    if (estimates) {
      for (let i = 0; i < n; i++) if (mode[i] === ESTIMATED) eased.follow(i, estimateOf(i), dtS);
    }
    for (let f = 0; f < FINGER_COUNT; f++) {
      if (curlSlot[f] < 0 && hasJoints[f] === 0) {
        eased.follow(n + f, estimateCurl(f), dtS);
        fingerStates[f] = INFERRED;
      }
    }
  }

  /** Every channel is live and no finger is inferred: nothing to settle until health finds trouble. */
  function isCalm(): boolean {
    for (let i = 0; i < n; i++) if (mode[i] !== LIVE) return false;
    return trackedMask === ALL_FINGERS && !eased.easing();
  }

  function swapTo(slot: number, target: number, atOnce: boolean): void {
    if (atOnce) eased.jump(slot, target);
    else eased.swap(slot, target);
  }

  function bendFingers(): void {
    for (let f = 0; f < FINGER_COUNT; f++) {
      const c = curlSlot[f];
      if (hasJoints[f] !== 0) {
        bendByJoints(f);
        curl[f] = c >= 0 ? values[c] : curlOf(closing, f, dofs);
      } else {
        const value = values[c >= 0 ? c : n + f];
        curl[f] = value;
        setCurl(closing, f, value, dofs);
      }
      const s = splaySlot[f];
      const spread = s >= 0 ? values[s] : 0;
      splay[f] = spread;
      if (f === 0) {
        if (s >= 0) dofs[1] = angleOf(1, (spread + 1) / 2);
      } else if (f === 2) {
        // The middle finger is the line that the others spread from, but a sensor may still see it lean.
        dofs[f * DOFS_PER_FINGER + 1] = clamp(spread, -1, 1) * abductionLimit(dofs[f * DOFS_PER_FINGER]);
      } else {
        setSplay(dofs, f, spread);
      }
    }
    if (archSlot >= 0) {
      dofs[RING_ARCH] = angleOf(RING_ARCH, values[archSlot]);
      dofs[LITTLE_ARCH] = angleOf(LITTLE_ARCH, values[archSlot]);
    } else if (guided && natural) {
      naturalMotion(natural, dofs, curl);
    } else {
      coupleArch(dofs);
    }
  }

  function meanOfJoints(f: number): number {
    let sum = 0;
    let used = 0;
    for (let part = 0; part < 4; part++) {
      const j = jointSlot[f * 4 + part];
      if (j < 0) continue;
      sum += values[j];
      used++;
    }
    return sum / used;
  }

  /** A sensor for some joints: the others follow by the closing profile, DIP and PIP by their coupling. */
  function bendByJoints(f: number): void {
    const c = curlSlot[f];
    setCurl(closing, f, c >= 0 ? values[c] : meanOfJoints(f), dofs);
    const base = f * DOFS_PER_FINGER;
    const proximal = jointSlot[base];
    const middle = jointSlot[base + 2];
    const distal = jointSlot[base + 3];
    if (proximal >= 0) dofs[base] = angleOf(base, values[proximal]);
    if (middle >= 0) dofs[base + 2] = angleOf(base + 2, values[middle]);
    if (distal >= 0) dofs[base + 3] = angleOf(base + 3, values[distal]);
    if (f === 0) return;
    if (distal < 0 && middle >= 0) coupleDip(dofs, f);
    else if (distal >= 0 && middle < 0) {
      dofs[base + 2] = Math.min(dofs[base + 3] / DIP_PER_PIP, DOF_MAX[base + 2]);
    }
  }

  function readControls(): void {
    for (let i = 0; i < n; i++) {
      const control = controlOf[i];
      if (control < 0) continue;
      controls[control] = values[i];
      hasControl[control] = sources[i] >= 0 && isMeasured(i) ? 1 : 0;
    }
    if (!hasWrist) return;
    const [x, y, z, w] = [0, 1, 2, 3];
    const qx = values[wristSlots[x]];
    const qy = values[wristSlots[y]];
    const qz = values[wristSlots[z]];
    const qw = values[wristSlots[w]];
    const length = Math.sqrt(qx * qx + qy * qy + qz * qz + qw * qw);
    if (length < 1e-3) return;
    wrist[0] = qx / length;
    wrist[1] = qy / length;
    wrist[2] = qz / length;
    wrist[3] = qw / length;
  }

  function measureRates(dtS: number): void {
    const w = 2 * Math.PI * RATE_CUTOFF_HZ * dtS;
    const alpha = w / (1 + w);
    followRates(dofs, previousDofs, dofRates, alpha, 1 / dtS);
    followRates(curl, previousCurl, curlRates, alpha, 1 / dtS);
  }

  function startAfresh(): void {
    const steady = drift.correct(counts, 0);
    for (let i = 0; i < n; i++) {
      raw[i] = lookAt(tables, i, steady[i]);
      mode[i] = health.unusable[i] !== 0 ? ESTIMATED : LIVE;
    }
    if (hasWrist) alignWrist();
    bank.reset();
    bank.update(raw, clock[INTERVAL_S]);
    for (let i = 0; i < n; i++) eased.jump(i, bank.values[i]);
    trackedMask = -1;
    calm = false;
    followChannels(clock[INTERVAL_S]);
    bendFingers();
    previousDofs.set(dofs);
    dofRates.fill(0);
    previousCurl.set(curl);
    curlRates.fill(0);
  }

  return {
    side: glove.hand,
    closing,
    get timeUs() {
      return clock[TIME_US];
    },
    curl,
    curlRates,
    splay,
    dofs,
    dofRates,
    fingerStates,
    wrist,
    controls,
    hasControl,
    get buttons() {
      return debounce.pressed;
    },
    channels,
    counts,
    raw,
    values,
    health,
    update(samples, sampleTimeUs) {
      clock[TIME_US] = sampleTimeUs;
      const dtS = interval(samples.deviceTimeUs);
      readChannels(samples);
      health.update(counts, dtS);
      if (dtS === 0) {
        started = true;
        startAfresh();
      } else {
        calibrate(dtS);
        bank.update(raw, dtS);
        if (calm && health.troubled === 0) copy(bank.values, values);
        else {
          settleChannels(dtS);
          followChannels(dtS);
          calm = isCalm();
        }
        bendFingers();
        measureRates(dtS);
      }
      readControls();
      debounce.update(samples.buttons, dtS);
    },
    rezero: drift.rezero,
    rememberDrift: drift.remember,
    adoptDrift: drift.adopt,
    reset() {
      started = false;
      fingerStates.fill(INVALID);
      dofRates.fill(0);
      curlRates.fill(0);
    },
    stopFraction(finger, at) {
      const string = curlSlot[finger] >= 0 ? channels[curlSlot[finger]].string : undefined;
      return string ? string.fractionAt(at) : at;
    },
  };
}

/** As set() does, which costs more than a few numbers. */
function copy(from: Float64Array, to: Float64Array): void {
  for (let i = 0; i < from.length; i++) to[i] = from[i];
}

/** Low-passed rates of values, over arrays alone, so that it compiles to one loop. */
function followRates(
  values: Float64Array,
  previous: Float64Array,
  rates: Float64Array,
  alpha: number,
  perS: number,
): void {
  for (let i = 0; i < values.length; i++) {
    const value = values[i];
    const last = rates[i];
    const rate = last + alpha * ((value - previous[i]) * perS - last);
    // A rate that decays for ever would end in denormal numbers, which are slow.
    rates[i] = rate < STILL && rate > -STILL ? 0 : rate;
    previous[i] = value;
  }
}

const clamp = (x: number, low: number, high: number): number => Math.min(Math.max(x, low), high);

/** Angle of a degree of freedom at a part 0..1 of its range. */
function angleOf(dof: number, part: number): number {
  return DOF_MIN[dof] + clamp(part, 0, 1) * (DOF_MAX[dof] - DOF_MIN[dof]);
}
