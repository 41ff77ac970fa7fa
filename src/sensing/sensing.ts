import type { GloveProfile } from '../config/schema.js';
import { type ClosingProfile, createClosingProfile } from '../hand/closing.js';
import type { DofArray } from '../hand/dofs.js';
import { FINGERS, type HandSide } from '../hand/joints.js';
import type { NaturalMotion } from '../hand/natural-motion.js';
import { INVALID } from '../hand/validity.js';
import type { Samples } from '../link/codec.js';
import type { Mutable } from '../mutable.js';
import type { ChannelRole } from '../protocol/link-table.js';
import { createBending } from './bending.js';
import { type Channel, compileChannels } from './channels.js';
import { createDebounce } from './debounce.js';
import { createDrift } from './drift.js';
import { createFallbacks } from './fallbacks.js';
import { createHealth, type Health } from './health/health.js';
import { createLookAhead } from './look-ahead.js';
import { joinLookups, lookAt, lookAtAll } from './lookup.js';
import { createOneEuroBank } from './one-euro.js';
import { bendingValues, findSlots } from './slots.js';

/**
 * Counts to degrees of freedom, one call a sample:
 *
 *   counts -> drift taken out -> look-up table (calibration) -> One Euro -> fallbacks over faults -> bending -> dofs
 *                                       ^ health: holds a reading that no hand can have made
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
  /** How other fingers lead the thumb; undefined: they do not. */
  readonly thumbGuide: NaturalMotion | undefined;
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
  /** Degrees of freedom as they will be in `aheadS`, radians; valid until the next call. */
  predict(aheadS: number): DofArray;
  /** After a lost link: the next sample is taken over without memory of the past; fingers are INVALID until then. */
  reset(): void;
  /** Part of the finger's string travel at a curl: where a servo on that string has to stop. */
  stopFraction(finger: number, curl: number): number;
}

/** A gap longer than this starts over; it cannot be filtered across. */
const GAP_S = 0.25;
/** Smooths the rates of curl, which forces go by: above the motion of a hand (some 8 Hz), below the noise. */
const CURL_RATE_CUTOFF_HZ = 15;
/** Rates below this count as 0, rad/s. */
const STILL = 1e-9;

// Places in `clock`.
const DEVICE_US = 0;
const INTERVAL_S = 1;

export function createSensing(options: SensingOptions): Sensing {
  const { glove } = options;
  const closing = options.closing ?? createClosingProfile();
  const sent = options.channelRoles ?? glove.channels.map((channel) => channel.role);
  const channels = compileChannels(glove, sent, closing);
  const n = channels.length;
  const tables = joinLookups(channels.map((channel) => channel.lookup));
  const sources = Int16Array.from(channels, (channel) => channel.source);
  const controlOf = Int8Array.from(channels, (channel) => CONTROL_OF_ROLE[channel.role] ?? -1);
  const slots = findSlots(channels);
  const { curl: curlSlot, wrist: wristSlots } = slots;
  const hasWrist = wristSlots.every((slot) => slot >= 0 && sources[slot] >= 0);

  const counts = new Uint16Array(n);
  const raw = new Float64Array(n);
  const bank = createOneEuroBank(n, glove.filter, 1 / (options.sampleRateHz || 100));
  const health = (options.health ?? createHealth)(channels);
  const drift = createDrift(channels, glove.drift, health.unusable);
  const debounce = createDebounce(glove.controls.debounceMs);
  const fallbacks = createFallbacks({ channels, slots, health, raw, bank });
  const { values, fingerStates } = fallbacks;
  const bending = createBending(values, n, slots, closing, options.natural);
  const { curl, splay, dofs } = bending;
  const curlRates = new Float64Array(FINGERS.length);
  const previousCurl = new Float64Array(FINGERS.length);
  const lookAhead = createLookAhead(values, bendingValues(slots, n), dofs, (ahead) =>
    createBending(ahead, n, slots, closing, options.natural),
  );
  const wrist = Float64Array.of(0, 0, 0, 1);
  const controls = new Float64Array(5);
  const hasControl = new Uint8Array(5);

  // Running numbers in an array: as variables of the closure each would be a new object at every change.
  const clock = Float64Array.of(0, 1 / (options.sampleRateHz || 100));
  let started = false;

  /** Seconds since the last sample by the glove's clock; 0 asks to start over. */
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

  function readControls(): void {
    for (let i = 0; i < n; i++) {
      const control = controlOf[i];
      if (control < 0) continue;
      controls[control] = values[i];
      hasControl[control] = sources[i] >= 0 && fallbacks.isMeasured(i) ? 1 : 0;
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
    const w = 2 * Math.PI * CURL_RATE_CUTOFF_HZ * dtS;
    const alpha = w / (1 + w);
    lookAhead.update(dtS);
    followRates(curl, previousCurl, curlRates, alpha, 1 / dtS);
  }

  function startAfresh(): void {
    const steady = drift.correct(counts, 0);
    for (let i = 0; i < n; i++) raw[i] = lookAt(tables, i, steady[i]);
    if (hasWrist) alignWrist();
    bank.reset();
    bank.update(raw, clock[INTERVAL_S]);
    fallbacks.begin(clock[INTERVAL_S]);
    bending.update();
    lookAhead.reset();
    previousCurl.set(curl);
    curlRates.fill(0);
  }

  const sensing: Mutable<Sensing> = {
    side: glove.hand,
    closing,
    timeUs: 0,
    curl,
    curlRates,
    splay,
    dofs,
    dofRates: lookAhead.dofRates,
    thumbGuide: bending.guide,
    fingerStates,
    wrist,
    controls,
    hasControl,
    buttons: 0,
    channels,
    counts,
    raw,
    values,
    health,
    update(samples, sampleTimeUs) {
      sensing.timeUs = sampleTimeUs;
      const dtS = interval(samples.deviceTimeUs);
      readChannels(samples);
      health.update(counts, dtS);
      if (dtS === 0) {
        started = true;
        startAfresh();
      } else {
        calibrate(dtS);
        bank.update(raw, dtS);
        fallbacks.update(dtS);
        bending.update();
        measureRates(dtS);
      }
      readControls();
      debounce.update(samples.buttons, dtS);
      sensing.buttons = debounce.pressed;
    },
    rezero: drift.rezero,
    rememberDrift: drift.remember,
    adoptDrift: drift.adopt,
    predict: lookAhead.at,
    reset() {
      started = false;
      fingerStates.fill(INVALID);
      lookAhead.reset();
      curlRates.fill(0);
    },
    stopFraction(finger, at) {
      const string = curlSlot[finger] >= 0 ? channels[curlSlot[finger]].string : undefined;
      return string ? string.fractionAt(at) : at;
    },
  };
  return sensing;
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
    // A rate that decays forever would end in denormal numbers, which are slow.
    rates[i] = rate < STILL && rate > -STILL ? 0 : rate;
    previous[i] = value;
  }
}
