import type { HandSide } from '../hand/joints.js';
import {
  type FaultName,
  PROTOCOL_VERSION,
  STOP_FREE,
  STOP_MAX,
  WATCHDOG_MS,
} from '../protocol/link-table.js';
import type { DeviceState, Hello } from './codec.js';
import { createGloveFrames } from './glove-frames.js';
import { FINGER_COUNT, hash, moveHand, newHandPose } from './simulated-motion.js';
import { createSimulatedStops } from './simulated-stops.js';

/**
 * A glove without hardware: the built-in default. It sends the bytes of a real one, samples on an absolute schedule,
 * obeys resist, release, expiry and watchdog, and moves by itself (simulated-motion.ts). Everything it sends depends
 * only on its options, on what it received, and when.
 */

const CONVERTER_BITS = 12;
/** Readings of its channels: counts with the finger open and closed (splay: together and spread; stick: ends). */
export const SIMULATED_CHANNELS = [
  { role: 'thumb.curl', open: 720, closed: 3010 },
  { role: 'index.curl', open: 610, closed: 3340 },
  { role: 'middle.curl', open: 655, closed: 3420 },
  { role: 'ring.curl', open: 590, closed: 3275 },
  { role: 'little.curl', open: 700, closed: 3120 },
  { role: 'thumb.splay', open: 1240, closed: 2900 },
  { role: 'index.splay', open: 1510, closed: 2620 },
  { role: 'middle.splay', open: 1490, closed: 2580 },
  { role: 'ring.splay', open: 1475, closed: 2655 },
  { role: 'little.splay', open: 1430, closed: 2710 },
  { role: 'stick.x', open: 60, closed: 4030 },
  { role: 'stick.y', open: 75, closed: 4010 },
] as const;
export const SIMULATED_ACTUATORS = ['thumb', 'index', 'middle', 'ring', 'little'] as const;

/** Standard deviation of the converter's noise, counts. */
const NOISE_COUNTS = 1.5;
const STATE_PERIOD_US = 1_000_000;
const MAX_RATE_HZ = 1000;
const PONGS_KEPT = 8;

export interface SimulatedGloveOptions {
  hand: HandSide;
  /** 1..1000. */
  sampleRateHz: number;
  /** Of the noise and of the motion. */
  seed: number;
  /** Time of its first sample; its device clock is 0 here. */
  startUs: number;
}

export interface SimulatedGlove {
  /** Time of the next samples or state. */
  nextDueUs(): number;
  /** Answers wait for a step. */
  answersWait(): boolean;
  /** Curl of each finger at its last sample, thumb first: the truth that the channels measure. */
  readonly curls: Float64Array;
  /** Where each actuator stops its finger now, in curl; Infinity when free. */
  readonly stops: Float64Array;
  /**
   * Sends every frame due up to nowUs, samples with their true device times.
   * @param send takes a view that is valid only during the call
   */
  step(nowUs: number, send: (frame: Uint8Array) => void): void;
  /** Continues at nowUs without sending what was due before, which counts as dropped: for a host that slept. */
  skipTo(nowUs: number): void;
  /** Takes bytes from the host. Answers leave with the next step. */
  receive(bytes: Uint8Array, nowUs: number): void;
}

export function createSimulatedGlove(options: SimulatedGloveOptions): SimulatedGlove {
  const { hand, seed, startUs } = options;
  const pose = newHandPose();
  const counts = new Uint16Array(SIMULATED_CHANNELS.length);
  const actuators = createSimulatedStops();
  const fullScale = 2 ** CONVERTER_BITS - 1;

  let rateHz = 0;
  let gridUs = 0;
  let gridIndex = 0;
  let sampleCount = 0;
  let nextSampleUs = 0;
  let nextStateUs = startUs;
  let lastValidUs = startUs;
  let expiresUs = 0;
  let helloPending = true;
  const pongs: number[] = [];
  let framesDropped = 0;
  let watchdogTrips = 0;
  let watchdogRelease = false;

  const setRate = (hz: number, fromUs: number): void => {
    rateHz = Math.max(1, Math.min(MAX_RATE_HZ, hz));
    gridUs = fromUs;
    gridIndex = 0;
    nextSampleUs = fromUs;
  };
  setRate(options.sampleRateHz, startUs);

  const setWatchdogRelease = (on: boolean, nowUs: number): void => {
    if (watchdogRelease === on) return;
    watchdogRelease = on;
    nextStateUs = nowUs;
  };

  /** Releases when a resist expired or the host fell silent, like the firmware. */
  const watch = (nowUs: number): void => {
    if (!actuators.holding || (nowUs < expiresUs && nowUs < lastValidUs + WATCHDOG_MS * 1000)) return;
    actuators.release();
    watchdogTrips = (watchdogTrips + 1) & 0xffff;
    setWatchdogRelease(true, nowUs);
  };

  let receivedUs = startUs;
  const frames = createGloveFrames({
    askHello: () => {
      helloPending = true;
    },
    resist: (resist) => {
      setWatchdogRelease(false, receivedUs);
      actuators.hold(resist);
      expiresUs = receivedUs + resist.validForMs * 1000;
    },
    release: () => {
      setWatchdogRelease(false, receivedUs);
      actuators.release();
    },
    ping: (token) => {
      if (pongs.length < PONGS_KEPT) pongs.push(token);
    },
    rate: (hz) => {
      setRate(hz, Math.max(receivedUs, nextSampleUs));
      helloPending = true;
    },
    // Strings cannot vibrate.
    pulse: () => {},
  });

  const hello = (): Hello => ({
    protocol: PROTOCOL_VERSION,
    hand,
    deviceId: `51${hand === 'left' ? '00' : '01'}${hash(seed, 0, 0x1d).toString(16).padStart(8, '0')}0000`,
    firmwareVersion: 1,
    sampleRateHz: rateHz,
    channels: SIMULATED_CHANNELS.map(({ role }) => ({ role, bits: CONVERTER_BITS })),
    actuators: SIMULATED_ACTUATORS.map((role) => ({ role, kind: 'stringStop' })),
  });

  const state = (nowUs: number): DeviceState => {
    const upS = (nowUs - startUs) / 1e6;
    const faults: FaultName[] = watchdogRelease ? ['watchdogRelease'] : [];
    return {
      batteryMv: Math.round(Math.max(3600, 4100 - upS / 20)),
      temperatureC: Math.round(310 + 30 * (1 - Math.exp(-upS / 300))) / 10,
      faults,
      framesDropped,
      watchdogTrips,
      positions: Array.from(SIMULATED_ACTUATORS, (_, i) =>
        actuators.stops[i] === Number.POSITIVE_INFINITY
          ? STOP_FREE
          : Math.round(actuators.stops[i] * STOP_MAX),
      ),
    };
  };

  const read = (channel: number, value: number): number => {
    const { open, closed } = SIMULATED_CHANNELS[channel];
    const bytes = hash(seed, sampleCount, 64 + channel);
    // The sum of four uniform bytes is near enough to a normal deviate: mean 510, deviation 147.8.
    const sum = (bytes & 0xff) + ((bytes >>> 8) & 0xff) + ((bytes >>> 16) & 0xff) + (bytes >>> 24);
    const noise = ((sum - 510) / 147.8) * NOISE_COUNTS;
    return Math.max(0, Math.min(fullScale, Math.round(open + (closed - open) * value + noise)));
  };

  const sample = (timeUs: number, sincePreviousUs: number): void => {
    moveHand(seed, (timeUs - startUs) / 1e6, pose);
    const { curls, splays } = pose;
    actuators.move(curls, sincePreviousUs);
    for (let i = 0; i < FINGER_COUNT; i++) {
      counts[i] = read(i, curls[i]);
      counts[FINGER_COUNT + i] = read(FINGER_COUNT + i, splays[i]);
    }
    counts[10] = read(10, (1 + pose.stickX) / 2);
    counts[11] = read(11, (1 + pose.stickY) / 2);
    sampleCount++;
  };

  const deviceUs = (timeUs: number): number => Math.round(timeUs - startUs) % 2 ** 32;

  return {
    nextDueUs: () => Math.min(nextSampleUs, nextStateUs),
    answersWait: () => helloPending || pongs.length > 0,
    curls: pose.curls,
    stops: actuators.stops.subarray(0, FINGER_COUNT),
    step(nowUs, send) {
      if (nowUs < startUs) return;
      if (helloPending) {
        helloPending = false;
        send(frames.hello(hello()));
      }
      for (;;) {
        watch(Math.min(nowUs, nextSampleUs));
        if (nextStateUs <= Math.min(nowUs, nextSampleUs)) {
          send(frames.state(state(nextStateUs)));
          nextStateUs += STATE_PERIOD_US;
        } else if (nextSampleUs <= nowUs) {
          sample(nextSampleUs, 1e6 / rateHz);
          send(frames.samples(deviceUs(nextSampleUs), pose.buttons, counts, counts.length));
          gridIndex++;
          nextSampleUs = gridUs + (gridIndex * 1e6) / rateHz;
        } else break;
      }
      for (const token of pongs) send(frames.pong(token, deviceUs(nowUs)));
      pongs.length = 0;
    },
    skipTo(nowUs) {
      const missed = Math.ceil(((nowUs - nextSampleUs) * rateHz) / 1e6);
      if (missed <= 0) return;
      gridIndex += missed;
      nextSampleUs = gridUs + (gridIndex * 1e6) / rateHz;
      framesDropped = (framesDropped + missed) & 0xffff;
      nextStateUs = Math.max(nextStateUs, nowUs);
    },
    receive(bytes, nowUs) {
      receivedUs = nowUs;
      // First what ran out unnoticed: a late message must not hide that the host was silent.
      watch(nowUs);
      const { frames: before } = frames.counters;
      frames.push(bytes);
      if (frames.counters.frames > before) lastValidUs = nowUs;
    },
  };
}
