import { driveAtHeat, effortAfterHold, HEAT_FADE_FROM, REST_TO } from './finger-drive.js';
import type { LimitName } from './limits.js';
import { FINGER_COUNT } from './requests.js';
import { type Draft, LOAD_MARGIN } from './step-state.js';

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
  apply(draft: Draft): void;
}

/** A stop is placed no nearer than this to the finger, curl: well over the noise of a healthy channel. */
export const STOP_CLEARANCE = 0.02;
/** A stop that is pressed gives way when the finger is this far past it, curl. */
export const HOLD_DEPTH = 0.06;

const eachFinger = (name: LimitName, apply: (draft: Draft, finger: number) => void): Guard => ({
  name,
  apply(draft) {
    for (let finger = 0; finger < FINGER_COUNT; finger++) apply(draft, finger);
  },
});

const wholeHand = (name: LimitName, unsafe: (draft: Draft) => boolean): Guard => ({
  name,
  apply(draft) {
    if (unsafe(draft)) draft.freeHand(name);
  },
});

/** The held finger with the least effort asked for among those whose drive cannot be lowered, or -1. */
const leastAsked = ({ lanes, inputs, outputs }: Draft): number => {
  let least = -1;
  for (let finger = 0; finger < FINGER_COUNT; finger++) {
    if (outputs.held[finger] === 0 || lanes[finger].heedsEffort) continue;
    if (least < 0 || inputs.efforts[finger] <= inputs.efforts[least]) least = finger;
  }
  return least;
};

/** All guards in their order. A governor in service has every one of them. */
export const GUARDS: readonly Guard[] = [
  wholeHand('shutdown', (draft) => draft.shut),
  wholeHand('disarmed', (draft) => !draft.armed),
  wholeHand('clockJump', (draft) => draft.clockJumped),
  wholeHand('linkLost', (draft) => draft.inputs.linkLive !== true),
  wholeHand('stale', (draft) => !(Math.abs(draft.inputs.sampleAgeUs) <= draft.safety.staleMs * 1000)),

  eachFinger('invalidRequest', (draft, finger) => {
    const { stops, efforts } = draft.inputs;
    const sound = Number.isFinite(stops[finger]) && Number.isFinite(efforts[finger]) && efforts[finger] >= 0;
    if (!sound) draft.freeFinger(finger, 'invalidRequest');
  }),
  eachFinger('expired', (draft, finger) => {
    if (!(draft.nowUs < draft.inputs.expiresUs[finger])) draft.freeFinger(finger, 'expired');
  }),
  eachFinger('noActuator', (draft, finger) => {
    if (!(draft.lanes[finger].stallTensionN > 0)) draft.freeFinger(finger, 'noActuator');
  }),
  eachFinger('faultyFinger', (draft, finger) => {
    const sound = draft.inputs.healthy[finger] === 1 && Number.isFinite(draft.inputs.curls[finger]);
    if (!sound) draft.freeFinger(finger, 'faultyFinger');
  }),

  eachFinger('notBehindFinger', (draft, finger) => {
    if (draft.safety.allowPull || !draft.lanes[finger].pulls) return;
    const curl = draft.inputs.curls[finger];
    const held = Math.min(draft.lastStops[finger], curl + STOP_CLEARANCE);
    const behind = draft.outputs.stops[finger] < curl;
    const slack = draft.places[finger] > curl + LOAD_MARGIN;
    const floor = Math.max(held, slack ? curl : curl - HOLD_DEPTH);
    draft.raiseStop(finger, floor, behind ? 'notBehindFinger' : undefined);
  }),
  eachFinger('unseen', (draft, finger) => {
    const { seen, lanes, safety, inputs } = draft;
    // While stops are fitted nothing is known of where they are, and other rules hold (stop-probe.ts).
    const probed = (inputs.pressing?.[finger] ?? 0) > 0;
    if (safety.allowPull || probed || !lanes[finger].pulls) return;
    const last = draft.lastStops[finger];
    const unseen = seen.unseen[finger] === 1;
    if (seen.unanswered[finger] === 1 || (unseen && last >= 1)) {
      draft.freeFinger(finger, 'unseen');
      return;
    }
    const nearest = unseen ? 1 : seen.nearest[finger] + STOP_CLEARANCE;
    draft.raiseStop(
      finger,
      Math.min(last, nearest),
      unseen || seen.crept[finger] === 1 ? 'unseen' : undefined,
    );
  }),
  eachFinger('rate', (draft, finger) => {
    const nearest = draft.lastStops[finger] - draft.safety.maxStopRatePerS * draft.stepS;
    draft.raiseStop(finger, nearest, 'rate');
  }),

  eachFinger('tension', (draft, finger) => {
    draft.lowerDrive(finger, draft.lanes[finger].permittedDrive, 'tension');
  }),
  eachFinger('hold', (draft, finger) => {
    const lane = draft.lanes[finger];
    const holdS = draft.holdS[finger];
    const until = draft.resting[finger] === 1 ? REST_TO : 1;
    const effort = lane.heedsEffort ? effortAfterHold(lane, holdS) : holdS <= until * lane.maxHoldS ? 1 : 0;
    if (effort < 1) draft.lowerDrive(finger, effort * lane.permittedDrive, 'hold');
  }),
  eachFinger('heat', (draft, finger) => {
    const lane = draft.lanes[finger];
    const heat = draft.heats[finger];
    const until = draft.resting[finger] === 1 ? REST_TO : 1;
    const drive = lane.heedsEffort ? driveAtHeat(lane, heat) : heat <= until * HEAT_FADE_FROM ? 1 : 0;
    draft.lowerDrive(finger, drive, 'heat');
  }),
  {
    name: 'supply',
    apply(draft) {
      const budgetA = Math.max(0, draft.safety.maxSupplyA - draft.inputs.pulseCurrentA);
      // Drives that cannot be lowered: the least firmly asked for is let go first, of equals the last finger.
      while (!(draft.demandA(false) <= budgetA)) {
        const finger = leastAsked(draft);
        if (finger < 0) break;
        draft.freeFinger(finger, 'supply');
      }
      const demandA = draft.demandA(true);
      const leftA = budgetA - draft.demandA(false);
      if (demandA <= leftA) return;
      // The same share of what each asked for, so that no finger is starved by the others.
      for (let finger = 0; finger < FINGER_COUNT; finger++) {
        if (!draft.lanes[finger].heedsEffort) continue;
        draft.lowerDrive(finger, draft.outputs.drives[finger] * (Math.max(0, leftA) / demandA), 'supply');
      }
    },
  },
];
