import type { Steps } from '../steps.js';
import { type ClosingProfile, setCurl } from './closing.js';
import { DOF_COUNT, DOFS_PER_FINGER } from './dofs.js';
import { createPoses, thumbKinematics } from './forward.js';
import { FINGERS, POSE_STRIDE } from './joints.js';
import { createPinchSolver, type PinchPose, type PinchSolver } from './pinch.js';
import type { Skeleton } from './skeleton.js';
import { createThumbPath, STOP_STEPS, stopSteps } from './thumb-stops.js';

/**
 * What each finger asks of the thumb, over the finger's curl. Every column changes so slowly with the curl that the
 * thumb's tip, laid over by it, goes no farther than MOST_M for a whole curl.
 */
export interface ThumbGuide {
  /** Index to little x GUIDE_ROWS x GUIDE_COLUMNS: thumb angles of the pinch (4), then the columns below. */
  readonly table: Float64Array;
  /** Index to little: the thumb's curl in the easiest pinch. */
  readonly pinchCurls: Float64Array;
}

export const GUIDE_ROWS = STOP_STEPS + 1;
/** How much the finger bars the thumb's way to the fingers behind it: 0 open, 1 once well beyond its own pinch. */
export const GUIDE_BAR = 4;
/** How much it asks for its own pinch: 0 open, 1 from the pinch on, 0 again as it closes to a fist. */
export const GUIDE_PINCH = 5;
/** The thumb's greatest curl before it meets the finger from its open side; above 1: the finger is not in its way. */
export const GUIDE_STOP = 6;
export const GUIDE_COLUMNS = 7;

const ROWS = GUIDE_ROWS;
const STEPS = STOP_STEPS;
const THUMB_TIP = 5 * POSE_STRIDE;
/** A pinch whose tips stay this far apart, metres, is none: the thumb keeps the last one that met. */
const MEETS_M = 0.0005;
/** Farthest that the tip follows a finger that opens or closes, metres for a whole curl of it. */
const MOST_OPENING_M = 0.045;
const MOST_CLOSING_M = 0.165;
/** Farthest that it goes as fingers take over, likewise: it may come on top of the end of following, or of a stop. */
const MOST_TAKEN_M = 0.19;
const MOST_BARRED_M = 0.148;
/** From this curl on, just over that of a hand at ease, a finger counts. */
const COUNTS_CURL = 0.19;
/** So much after the easiest pinch the thumb is all with the finger. */
const READY_CURL = 0.01;
/** Curl beyond the easiest pinch up to which the thumb follows, and from which the hand is closing to a fist. */
const FOLLOW_CURL = 0.068;
const FIST_CURL = 0.42;
/** Difference between the thumb's curl and the pinch's within which it is a pinch, and from which it is none. */
const PINCH_CURL = 0.058;
const APART_CLOSED_CURL = 0.26;
const APART_OPEN_CURL = 0.42;
const PER_CLOSED_CURL = 1 / (APART_CLOSED_CURL - PINCH_CURL);
const PER_OPEN_CURL = 1 / (APART_OPEN_CURL - PINCH_CURL);
/** An opening thumb gets ever farther from the pinch, so the weight falls ever more slowly: 1 is evenly. */
const EVEN = 0.6;

export function* thumbGuideSteps(skeleton: Skeleton, profile: ClosingProfile): Steps<ThumbGuide> {
  const fingers = FINGERS.length - 1;
  const table = new Float64Array(fingers * ROWS * GUIDE_COLUMNS);
  const pinchCurls = new Float64Array(fingers);
  const fingerCurls = new Float64Array(fingers);
  const waysM = new Float64Array(fingers);
  const pinches = createPinchSolver(skeleton, profile);
  const thumbs = createThumbPath(skeleton, profile);
  for (let finger = 1; finger < FINGERS.length; finger++) {
    const rows = table.subarray((finger - 1) * ROWS * GUIDE_COLUMNS, finger * ROWS * GUIDE_COLUMNS);
    const easiest = yield* fillPinches(skeleton, pinches, finger, rows);
    pinchCurls[finger - 1] = easiest.thumbCurl;
    fingerCurls[finger - 1] = easiest.fingerCurl;
    waysM[finger - 1] = longestWay(skeleton, profile, easiest);
    const stops = yield* stopSteps(skeleton, profile, thumbs, finger);
    for (let row = 0; row < ROWS; row++) rows[row * GUIDE_COLUMNS + GUIDE_STOP] = stops[row];
  }
  for (let finger = 1; finger < FINGERS.length; finger++) {
    const rows = table.subarray((finger - 1) * ROWS * GUIDE_COLUMNS, finger * ROWS * GUIDE_COLUMNS);
    fillWeights(rows, fingerCurls[finger - 1], waysM[finger - 1], Math.max(0, ...waysM.slice(finger)));
  }
  return { table, pinchCurls };
}

function* fillPinches(
  skeleton: Skeleton,
  pinches: PinchSolver,
  finger: number,
  rows: Float64Array,
): Steps<PinchPose> {
  const easiest = yield* pinches.easiest(finger);
  const tip = createTip(skeleton);
  const middle = Math.round(easiest.fingerCurl * STEPS);
  // Outwards from the easiest one, each from its neighbour; where the tips no longer meet, the last one stays.
  for (const step of [-1, 1]) {
    let last = easiest;
    let meets = true;
    const thumb = easiest.dofs.slice();
    for (let row = middle; row >= 0 && row < ROWS; row += step) {
      const beyond = row / STEPS - easiest.fingerCurl;
      if (meets && beyond <= FOLLOW_CURL) {
        const pose = pinches.at(finger, row / STEPS, last.dofs);
        meets = row === middle || Math.abs(pose.gapM) < MEETS_M;
        if (meets) last = pose;
      }
      if (row !== middle && meets)
        tip.pursue(thumb, last.dofs, (step < 0 ? MOST_OPENING_M : MOST_CLOSING_M) / STEPS);
      else if (row === middle) thumb.set(last.dofs);
      rows.set(thumb.subarray(0, DOFS_PER_FINGER), row * GUIDE_COLUMNS);
      yield;
    }
  }
  return easiest;
}

/**
 * The weights of a finger, as steep as its ways allow.
 * @param fingerCurl of the easiest pinch
 * @param wayM the thumb's longest way to that pinch
 * @param behindM and to those of the fingers behind
 */
function fillWeights(rows: Float64Array, fingerCurl: number, wayM: number, behindM: number): void {
  const ready = Math.max(fingerCurl + READY_CURL, COUNTS_CURL + (STEEPEST * wayM) / MOST_TAKEN_M);
  const followed = fingerCurl + FOLLOW_CURL;
  const fist = Math.max(fingerCurl + FIST_CURL, followed + (STEEPEST * wayM) / MOST_TAKEN_M);
  // Those behind follow their fingers, too.
  const farM = behindM > 0 ? behindM + FOLLOW_CURL * MOST_CLOSING_M : 0;
  const barred = Math.max(ready, COUNTS_CURL + (STEEPEST * farM) / MOST_BARRED_M);
  for (let row = 0; row < ROWS; row++) {
    const at = row * GUIDE_COLUMNS;
    const curl = row / STEPS;
    rows[at + GUIDE_BAR] = gentleRamp(curl, COUNTS_CURL, barred);
    rows[at + GUIDE_PINCH] = gentleRamp(curl, COUNTS_CURL, ready) - gentleRamp(curl, followed, fist);
  }
}

/** How far the thumb's tip goes at most between its closing path and a pinch, as far as it is meant, metres. */
function longestWay(skeleton: Skeleton, profile: ClosingProfile, pinch: PinchPose): number {
  const tip = createTip(skeleton);
  const dofs = new Float64Array(DOF_COUNT);
  let farthest = 0;
  for (let step = 0; step <= STEPS; step++) {
    setCurl(profile, 0, step / STEPS, dofs);
    const meant = meantPinch(step / STEPS - pinch.thumbCurl);
    if (meant > 0) farthest = Math.max(farthest, meant * tip.wayM(dofs, pinch.dofs));
  }
  return farthest;
}

/** How far a pinch is meant by the thumb's curl: 1 near that of the pinch, 0 far from it. */
export function meantPinch(beyond: number): number {
  if (beyond > 0) return 1 - gentle((beyond - PINCH_CURL) * PER_CLOSED_CURL);
  const meant = 1 - gentle((-beyond - PINCH_CURL) * PER_OPEN_CURL);
  return meant * (EVEN + (1 - EVEN) * meant);
}

/** The thumb's tip on its way from one set of angles to another. */
function createTip(skeleton: Skeleton) {
  const poses = createPoses();
  const there = new Float64Array(3);
  function wayM(from: Float64Array, to: Float64Array): number {
    thumbKinematics(skeleton, to, poses);
    there.set(poses.subarray(THUMB_TIP, THUMB_TIP + 3));
    thumbKinematics(skeleton, from, poses);
    return Math.hypot(
      poses[THUMB_TIP] - there[0],
      poses[THUMB_TIP + 1] - there[1],
      poses[THUMB_TIP + 2] - there[2],
    );
  }
  return {
    wayM,
    /** Turns `thumb` towards `wanted`, until its tip has gone `mostM`. */
    pursue(thumb: Float64Array, wanted: Float64Array, mostM: number): void {
      const way = wayM(thumb, wanted);
      const share = way > mostM ? mostM / way : 1;
      for (let i = 0; i < DOF_COUNT; i++) thumb[i] += share * (wanted[i] - thumb[i]);
    },
  };
}

/** Share of a ramp over which it gets under way, and comes to rest. */
const ROUNDED = 0.06;
const STEEPEST = 1 / (1 - ROUNDED);

/** 0 up to `from`, 1 beyond `to`; even in between but for rounded ends, so that it is at most 1.07 times as steep. */
export const gentleRamp = (value: number, from: number, to: number): number =>
  gentle((value - from) / (to - from));

/** The ramp from 0 to 1. */
function gentle(t: number): number {
  if (t <= 0) return 0;
  if (t >= 1) return 1;
  if (t < ROUNDED) return (STEEPEST * t * t) / (2 * ROUNDED);
  if (t > 1 - ROUNDED) return 1 - (STEEPEST * (1 - t) * (1 - t)) / (2 * ROUNDED);
  return STEEPEST * (t - ROUNDED / 2);
}
