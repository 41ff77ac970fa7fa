import { FINGERS } from '../hand/joints.js';
import { INFERRED, INVALID, TRACKED } from '../hand/validity.js';
import type { Channel } from './channels.js';
import { createEased } from './ease.js';
import type { Health } from './health/health.js';
import type { OneEuroBank } from './one-euro.js';
import type { Slots } from './slots.js';

/**
 * What is shown of a channel that cannot be believed now, and of a finger without a sensor:
 *
 *   live: the filtered reading
 *   held: the last one, while the reading is one that no hand can have made
 *   given up: held for HOLD_S more, since most faults are over sooner
 *   estimated: what the healthy channels suggest; the finger is then `inferred`
 *
 * Every change between them is eased.
 */
export interface Fallbacks {
  /** What to show for each channel and, behind them, for each finger without any sensor of its flexion. */
  readonly values: Float64Array;
  /** Per finger: INVALID, INFERRED or TRACKED. */
  readonly fingerStates: Uint8Array;
  /** The channel's value comes from its sensor. */
  isMeasured(channel: number): boolean;
  /** Takes over one sample of filtered readings. */
  update(dtS: number): void;
  /** The same, without memory of the past. */
  begin(dtS: number): void;
}

export interface FallbackSources {
  readonly channels: readonly Channel[];
  readonly slots: Slots;
  readonly health: Health;
  /** Calibrated readings. */
  readonly raw: Float64Array;
  /** The same, filtered. */
  readonly bank: OneEuroBank;
}

/** A failed channel is held for this long before it is eased to the estimate: most faults are over sooner. */
const HOLD_S = 0.1;
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

const LIVE = 0;
const HELD = 1;
const GIVEN_UP = 2;
const ESTIMATED = 3;

const FINGER_COUNT = FINGERS.length;
const ALL_FINGERS = (1 << FINGER_COUNT) - 1;

export function createFallbacks({ channels, slots, health, raw, bank }: FallbackSources): Fallbacks {
  const n = channels.length;
  const sources = Int16Array.from(channels, (channel) => channel.source);
  const kinds = channels.map((channel) => channel.kind);
  const fingers = Int8Array.from(channels, (channel) => channel.finger);
  const { curl: curlSlot, splay: splaySlot, joint: jointSlot, hasJoints } = slots;

  const mode = new Uint8Array(n);
  const modeS = new Float64Array(n);
  const eased = createEased(n + FINGER_COUNT);
  const values = eased.shown;
  const measured = new Float64Array(FINGER_COUNT);
  const fingerStates = new Uint8Array(FINGER_COUNT).fill(INVALID);
  let trackedMask = -1;
  /** No channel is held, given up or eased and no finger inferred: values are what the filter says. */
  let calm = false;

  /** Decides for each channel whether it is live, held or estimated, and eases over every change. */
  function settle(dtS: number): void {
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

  function follow(dtS: number): void {
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

  function swapTo(slot: number, target: number, atOnce: boolean): void {
    if (atOnce) eased.jump(slot, target);
    else eased.swap(slot, target);
  }

  /** Every channel is live and no finger is inferred: nothing to settle until health finds trouble. */
  function isCalm(): boolean {
    for (let i = 0; i < n; i++) if (mode[i] !== LIVE) return false;
    return trackedMask === ALL_FINGERS && !eased.easing();
  }

  return {
    values,
    fingerStates,
    isMeasured,
    update(dtS) {
      if (calm && health.troubled === 0) {
        copy(bank.values, values);
        return;
      }
      settle(dtS);
      follow(dtS);
      calm = isCalm();
    },
    begin(dtS) {
      for (let i = 0; i < n; i++) {
        mode[i] = health.unusable[i] !== 0 ? ESTIMATED : LIVE;
        eased.jump(i, bank.values[i]);
      }
      trackedMask = -1;
      calm = false;
      follow(dtS);
    },
  };
}

/** As set() does, which costs more than a few numbers. */
function copy(from: Float64Array, to: Float64Array): void {
  for (let i = 0; i < from.length; i++) to[i] = from[i];
}
