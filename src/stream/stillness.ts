import { FINGERS, JOINT_COUNT, POSE_STRIDE } from '../hand/joints.js';
import { hasMoved } from '../hand/moved.js';

/** Noise of the sensors moves the skin by less, m. */
const LEAST_M = 5e-4;
/** The same of a channel, as a part of its range. */
const LEAST_PART = 0.01;
const RESTS_AFTER_US = 2e6;

/** Whether a hand rests: nothing of it has moved for a while by more than the noise of its sensors. Allocates nothing per call. */
export interface Stillness {
  /** Somebody new looks, or what is looked at is another: it does not rest until it has done so again. */
  disturb(): void;
  /**
   * @param poses 26 × POSE_STRIDE
   * @param fingerStates how each finger is known
   */
  pose(timeUs: number, poses: ArrayLike<number>, fingerStates: ArrayLike<number>): void;
  /**
   * @param counts of each channel, whose converter has so many `bits`
   * @param values of each channel, of -1..1; NaN where it has none
   */
  signals(
    timeUs: number,
    counts: readonly number[],
    values: readonly number[],
    channels: readonly { bits: number }[],
  ): void;
  rests(timeUs: number): boolean;
}

export function createStillness(): Stillness {
  const poseThen = new Float64Array(JOINT_COUNT * POSE_STRIDE);
  const statesThen = new Uint8Array(FINGERS.length);
  const countsThen: number[] = [];
  const valuesThen: number[] = [];
  let movedUs = Number.NaN;

  const haveMoved = (
    counts: readonly number[],
    values: readonly number[],
    channels: readonly { bits: number }[],
  ): boolean => {
    if (counts.length !== countsThen.length) return true;
    for (let i = 0; i < counts.length; i++) {
      if (differ(counts[i], countsThen[i], LEAST_PART * 2 ** (channels[i]?.bits ?? 0))) return true;
      if (differ(values[i], valuesThen[i], LEAST_PART)) return true;
    }
    return false;
  };

  return {
    disturb() {
      movedUs = Number.NaN;
    },
    pose(timeUs, poses, fingerStates) {
      let changed = false;
      for (let finger = 0; finger < FINGERS.length; finger++) {
        changed ||= fingerStates[finger] !== statesThen[finger];
      }
      // A source with another clock, such as a replay that begins again.
      if (!changed && timeUs >= movedUs && !hasMoved(poseThen, poses, LEAST_M)) return;
      movedUs = timeUs;
      poseThen.set(poses);
      statesThen.set(fingerStates);
    },
    signals(timeUs, counts, values, channels) {
      if (!haveMoved(counts, values, channels)) return;
      movedUs = timeUs;
      countsThen.length = valuesThen.length = counts.length;
      for (let i = 0; i < counts.length; i++) {
        countsThen[i] = counts[i];
        valuesThen[i] = values[i];
      }
    },
    // Not a number: it is not known when it moved last.
    rests: (timeUs) => timeUs - movedUs >= RESTS_AFTER_US,
  };
}

const differ = (a: number, b: number, least: number): boolean =>
  Number.isNaN(a) ? !Number.isNaN(b) : !(Math.abs(a - b) < least);
