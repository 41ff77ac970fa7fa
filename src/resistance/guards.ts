import { driveAtHeat, effortAfterHold, HEAT_FADE_FROM, REST_TO } from './finger-drive.js';
import type { LimitName } from './limits.js';
import { FINGER_COUNT } from './requests.js';
import { LOAD_MARGIN, type StepState } from './step-state.js';

/**
 * Each guard is one small function that may only move towards freedom: free a finger, raise a stop, lower a
 * drive. None can undo another, so leaving one out, or a fault in one, weakens that one limit alone, and
 * safety does not depend on their order (the order is that of the reasons a person wants to hear first).
 * Every comparison is written so that a value that is not a number frees the finger.
 *
 * Where a stop may be. A stop approaches the finger no faster than permitted and no nearer than
 * STOP_CLEARANCE, so that the noise of a sensor cannot ratchet a stop backwards and draw the finger open. A
 * stop that the finger then presses past stays where it is, or it would give way to any push and nothing
 * would be felt; it follows once the finger is HOLD_DEPTH past it. Away from the finger it moves at once.
 * While the servo is still on its way and the string slack, the finger may outrun it: the stop then yields to
 * the finger, or the late servo would draw the finger back.
 */
export interface Guard {
  readonly name: LimitName;
  apply(state: StepState): void;
}

/** A stop is placed no nearer than this to the finger, curl: well over the noise of a healthy channel. */
export const STOP_CLEARANCE = 0.02;
/** A stop that is pressed gives way when the finger is this far past it, curl. */
export const HOLD_DEPTH = 0.06;

const eachFinger = (name: LimitName, apply: (state: StepState, finger: number) => void): Guard => ({
  name,
  apply(state) {
    for (let finger = 0; finger < FINGER_COUNT; finger++) apply(state, finger);
  },
});

const wholeHand = (name: LimitName, unsafe: (state: StepState) => boolean): Guard => ({
  name,
  apply(state) {
    if (unsafe(state)) state.freeHand(name);
  },
});

/** The held finger with the least effort asked for among those whose drive cannot be lowered, or -1. */
const leastAsked = ({ fingerDrives, inputs, outputs }: StepState): number => {
  let least = -1;
  for (let finger = 0; finger < FINGER_COUNT; finger++) {
    if (outputs.held[finger] === 0 || fingerDrives[finger].heedsEffort) continue;
    if (least < 0 || inputs.efforts[finger] <= inputs.efforts[least]) least = finger;
  }
  return least;
};

/** All guards in their order. A governor in service has every one of them. */
export const GUARDS: readonly Guard[] = [
  wholeHand('shutdown', (state) => state.shut),
  wholeHand('disarmed', (state) => !state.armed),
  wholeHand('clockJump', (state) => state.clockJumped),
  wholeHand('linkLost', (state) => state.inputs.linkLive !== true),
  wholeHand('stale', (state) => !(Math.abs(state.inputs.sampleAgeUs) <= state.safety.staleMs * 1000)),

  eachFinger('invalidRequest', (state, finger) => {
    const { stops, efforts } = state.inputs;
    const sound = Number.isFinite(stops[finger]) && Number.isFinite(efforts[finger]) && efforts[finger] >= 0;
    if (!sound) state.freeFinger(finger, 'invalidRequest');
  }),
  eachFinger('expired', (state, finger) => {
    if (!(state.nowUs < state.inputs.expiresUs[finger])) state.freeFinger(finger, 'expired');
  }),
  eachFinger('noActuator', (state, finger) => {
    if (!(state.fingerDrives[finger].stallTensionN > 0)) state.freeFinger(finger, 'noActuator');
  }),
  eachFinger('faultyFinger', (state, finger) => {
    const sound = state.inputs.healthy[finger] === 1 && Number.isFinite(state.inputs.curls[finger]);
    if (!sound) state.freeFinger(finger, 'faultyFinger');
  }),

  eachFinger('notBehindFinger', (state, finger) => {
    if (state.safety.allowPull || !state.fingerDrives[finger].pulls) return;
    const curl = state.inputs.curls[finger];
    const held = Math.min(state.lastStops[finger], curl + STOP_CLEARANCE);
    const behind = state.outputs.stops[finger] < curl;
    const slack = state.places[finger] > curl + LOAD_MARGIN;
    const floor = Math.max(held, slack ? curl : curl - HOLD_DEPTH);
    state.raiseStop(finger, floor, behind ? 'notBehindFinger' : undefined);
  }),
  eachFinger('unseen', (state, finger) => {
    const { seen, fingerDrives, safety, inputs } = state;
    // While stops are fitted nothing is known of where they are, and other rules hold (stop-probe.ts).
    const probed = (inputs.pressing?.[finger] ?? 0) > 0;
    if (safety.allowPull || probed || !fingerDrives[finger].pulls) return;
    const last = state.lastStops[finger];
    const unseen = seen.unseen[finger] === 1;
    if (seen.unanswered[finger] === 1 || (unseen && last >= 1)) {
      state.freeFinger(finger, 'unseen');
      return;
    }
    const nearest = unseen ? 1 : seen.nearest[finger] + STOP_CLEARANCE;
    state.raiseStop(
      finger,
      Math.min(last, nearest),
      unseen || seen.crept[finger] === 1 ? 'unseen' : undefined,
    );
  }),
  eachFinger('rate', (state, finger) => {
    const nearest = state.lastStops[finger] - state.safety.maxStopRatePerS * state.stepS;
    state.raiseStop(finger, nearest, 'rate');
  }),

  eachFinger('tension', (state, finger) => {
    state.lowerDrive(finger, state.fingerDrives[finger].permittedDrive, 'tension');
  }),
  eachFinger('hold', (state, finger) => {
    const fingerDrive = state.fingerDrives[finger];
    const holdS = state.holdS[finger];
    const until = state.resting[finger] === 1 ? REST_TO : 1;
    const effort = fingerDrive.heedsEffort
      ? effortAfterHold(fingerDrive, holdS)
      : holdS <= until * fingerDrive.maxHoldS
        ? 1
        : 0;
    if (effort < 1) state.lowerDrive(finger, effort * fingerDrive.permittedDrive, 'hold');
  }),
  eachFinger('heat', (state, finger) => {
    const fingerDrive = state.fingerDrives[finger];
    const heat = state.heats[finger];
    const until = state.resting[finger] === 1 ? REST_TO : 1;
    const drive = fingerDrive.heedsEffort
      ? driveAtHeat(fingerDrive, heat)
      : heat <= until * HEAT_FADE_FROM
        ? 1
        : 0;
    state.lowerDrive(finger, drive, 'heat');
  }),
  {
    name: 'supply',
    apply(state) {
      const budgetA = Math.max(0, state.safety.maxSupplyA - state.inputs.pulseCurrentA);
      // Drives that cannot be lowered: the least firmly asked for is let go first, of equals the last finger.
      while (!(state.demandA(false) <= budgetA)) {
        const finger = leastAsked(state);
        if (finger < 0) break;
        state.freeFinger(finger, 'supply');
      }
      const demandA = state.demandA(true);
      const leftA = budgetA - state.demandA(false);
      if (demandA <= leftA) return;
      // The same share of what each asked for, so that no finger is starved by the others.
      for (let finger = 0; finger < FINGER_COUNT; finger++) {
        if (!state.fingerDrives[finger].heedsEffort) continue;
        state.lowerDrive(finger, state.outputs.drives[finger] * (Math.max(0, leftA) / demandA), 'supply');
      }
    },
  },
];
