import type { GloveProfile } from '../config/schema.js';
import { FINGERS, type HandSide } from '../hand/joints.js';
import { INFERRED, INVALID } from '../hand/validity.js';
import type { Mutable } from '../mutable.js';
import { createFingerStick } from './finger-stick.js';
import { CONTROL, type Sensing } from './sensing.js';

/**
 * Inputs for apps without hand support, by OpenXR path. Component paths as in the OpenXR specification's
 * interaction profile paths and XR_EXT_hand_interaction (from memory); a and b on the right hand, x and y on the
 * left, as there.
 */
export interface Inputs {
  /** Path of each value. */
  readonly paths: readonly string[];
  /** Value of each path; buttons are 0 or 1. */
  readonly values: Float64Array;
  /** Per path, 1 for a boolean. */
  readonly isBoolean: Uint8Array;
  /** Counts the updates in which any value changed. */
  readonly version: number;
  /**
   * @param poses 26 x POSE_STRIDE joint poses of the same sample
   * @returns whether any value changed
   */
  update(sensing: Sensing, poses: Float64Array): boolean;
  /** Where a path is in `values`, or -1. */
  indexOf(path: string): number;
}

/** Gap between the skins of thumb and index tip at which a pinch begins and is complete, m. Common practice. */
const PINCH_OPEN_M = 0.05;
const PINCH_CLOSED_M = 0.005;
/** Curl at which a finger begins to pull a trigger or to grasp, and at which it is all the way. Common practice. */
const CURL_FROM = 0.15;
const CURL_TO = 0.8;
/** A gesture is ready above the first value and no longer below the second. Common practice. */
const READY_ON = 0.12;
const READY_OFF = 0.06;
/** Values are sent in steps of this, so that noise too small to see is not a change. */
const RESOLUTION = 1 / 1024;

const THUMB_TIP = 5;
const INDEX_TIP = 10;

/** Buttons by the name that the profile gives them. `x` and `y` also serve as the left hand's `a` and `b`. */
const BUTTON_PATH: Record<string, (side: HandSide) => string> = {
  a: (side) => (side === 'left' ? 'x/click' : 'a/click'),
  b: (side) => (side === 'left' ? 'y/click' : 'b/click'),
  x: () => 'x/click',
  y: () => 'y/click',
  menu: () => 'menu/click',
  thumbstick: () => 'thumbstick/click',
  trigger: () => 'trigger/click',
  squeeze: () => 'squeeze/click',
  thumbrest: () => 'thumbrest/touch',
};

/** Radial dead zone: nothing inside, then from 0 up to 1 at the rim, direction kept; never longer than 1. */
export function applyDeadZone(x: number, y: number, deadZone: number, out: Float64Array): void {
  const length = Math.sqrt(x * x + y * y);
  if (length <= deadZone) {
    out[0] = 0;
    out[1] = 0;
    return;
  }
  const scale = Math.min(1, (length - deadZone) / (1 - deadZone)) / length;
  out[0] = x * scale;
  out[1] = y * scale;
}

export function createInputs(
  glove: Pick<GloveProfile, 'hand' | 'channels' | 'buttons' | 'controls'>,
): Inputs {
  const base = `/user/hand/${glove.hand}/input/`;
  const paths: string[] = [];
  const booleans: boolean[] = [];
  const add = (path: string, boolean = false): number => {
    const at = paths.indexOf(base + path);
    if (at >= 0) return at;
    paths.push(base + path);
    booleans.push(boolean);
    return paths.length - 1;
  };
  const trigger = add('trigger/value');
  const squeeze = add('squeeze/value');
  const stickX = add('thumbstick/x');
  const stickY = add('thumbstick/y');
  const gestures = ['pinch_ext', 'aim_activate_ext', 'grasp_ext'].map((name) => ({
    value: add(`${name}/value`),
    ready: add(`${name}/ready_ext`, true),
  }));
  for (const name of ['thumbstick', 'a', 'b', 'menu', 'thumbrest']) add(BUTTON_PATH[name](glove.hand), true);
  const thumbRest = paths.indexOf(`${base}thumbrest/touch`);
  const buttons: { mask: number; index: number }[] = [];
  for (const [name, bit] of Object.entries(glove.buttons)) {
    const path = BUTTON_PATH[name];
    if (path) buttons.push({ mask: 1 << bit, index: add(path(glove.hand), true) });
  }

  const values = new Float64Array(paths.length);
  const next = new Float64Array(paths.length);
  const isBoolean = Uint8Array.from(booleans, (boolean) => (boolean ? 1 : 0));
  const stick = new Float64Array(2);
  const triggerFinger = FINGERS.indexOf(glove.controls.triggerFinger);
  const { stickDeadZone } = glove.controls;
  const hasStick = glove.channels.some(({ role }) => role === 'stick.x' || role === 'stick.y');
  const fingerStick = glove.controls.fingerStick && !hasStick ? createFingerStick(glove.hand) : undefined;
  function gesture(which: number, value: number, known: boolean): void {
    const { value: valueAt, ready: readyAt } = gestures[which];
    const was = values[readyAt] !== 0;
    const ready = known && value >= (was ? READY_OFF : READY_ON);
    next[readyAt] = ready ? 1 : 0;
    // XR_EXT_hand_interaction: a value must be 0 while the hand is not ready.
    next[valueAt] = ready ? value : 0;
  }

  const inputs: Mutable<Inputs> = {
    paths,
    values,
    isBoolean,
    version: 0,
    indexOf: (path) => paths.indexOf(path),
    update(sensing, poses) {
      const { curl, controls, hasControl, fingerStates } = sensing;
      const known = fingerStates[0] !== INVALID;
      const pulled = hasControl[CONTROL.trigger] ? controls[CONTROL.trigger] : pull(curl[triggerFinger]);
      const grasped = pull((curl[2] + curl[3] + curl[4]) / 3);
      next[trigger] = known ? clampUnit(pulled) : 0;
      next[squeeze] = known
        ? clampUnit(hasControl[CONTROL.squeeze] ? controls[CONTROL.squeeze] : grasped)
        : 0;
      let x = hasControl[CONTROL.stickX] ? controls[CONTROL.stickX] : 0;
      let y = hasControl[CONTROL.stickY] ? controls[CONTROL.stickY] : 0;
      if (fingerStick) {
        fingerStick.update(curl, sensing.splay, allTracked(fingerStates));
        x = fingerStick.out[0];
        y = fingerStick.out[1];
      }
      applyDeadZone(x, y, stickDeadZone, stick);
      next[stickX] = known ? stick[0] : 0;
      next[stickY] = known ? stick[1] : 0;
      // A pinch needs both fingers: one that is only inferred would pinch by guess.
      const pinching = fingerStates[0] >= INFERRED && fingerStates[1] > INFERRED;
      gesture(0, pinchValue(poses), known && pinching);
      gesture(1, clampUnit(pulled), known);
      gesture(2, grasped, known);
      for (let i = 0; i < buttons.length; i++) next[buttons[i].index] = 0;
      next[thumbRest] = hasControl[CONTROL.thumbRest] && controls[CONTROL.thumbRest] > 0.5 ? 1 : 0;
      const pressed = sensing.buttons;
      for (let i = 0; i < buttons.length; i++) if (pressed & buttons[i].mask) next[buttons[i].index] = 1;

      let changed = false;
      for (let i = 0; i < next.length; i++) {
        // The ends are sent exactly, whatever the last step was.
        const value = next[i];
        const difference = value - values[i];
        const end = value === 0 || value === 1 || value === -1;
        if (difference >= RESOLUTION || difference <= -RESOLUTION || (end && difference !== 0)) {
          values[i] = value;
          changed = true;
        }
      }
      if (changed) inputs.version++;
      return changed;
    },
  };
  return inputs;
}

/** Of index to little finger: the thumb does not steer. */
function allTracked(states: Uint8Array): boolean {
  for (let finger = 1; finger < FINGERS.length; finger++) if (states[finger] <= INFERRED) return false;
  return true;
}

const clampUnit = (x: number): number => Math.min(Math.max(x, 0), 1);
const pull = (curl: number): number => clampUnit((curl - CURL_FROM) / (CURL_TO - CURL_FROM));

/** 0 apart to 1 touching, from the gap between the skins of thumb tip and index tip. */
export function pinchValue(poses: Float64Array): number {
  const a = THUMB_TIP * 8;
  const b = INDEX_TIP * 8;
  const dx = poses[a] - poses[b];
  const dy = poses[a + 1] - poses[b + 1];
  const dz = poses[a + 2] - poses[b + 2];
  const gap = Math.sqrt(dx * dx + dy * dy + dz * dz) - poses[a + 7] - poses[b + 7];
  return clampUnit((PINCH_OPEN_M - gap) / (PINCH_OPEN_M - PINCH_CLOSED_M));
}
