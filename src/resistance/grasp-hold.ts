import type { GovernorOutputs } from './governor-step.js';
import { FINGER_COUNT, type RequestStore } from './requests.js';

/** Keeps it apart from what an app asks for by itself. */
export const GRASP_LAYER = 'grasp\u0000';
/** The hand counts as closing for so long after a finger went this way, curl, in that time. Common practice. */
export const ANSWER_WITHIN_US = 150_000;
const RISE = 0.03;
/** A finger that is straighter than this grasps nothing, curl. */
const LEAST_CURL = 0.15;
/** The hold ends when a finger opens by this much, curl. */
export const OPENS_BY = 0.05;
/** Life of each request, µs: what forgets to renew it lets go. */
const LIFE_US = 100_000;
/** The past of the fingers, a look every so often. */
const TICK_US = 10_000;
const TICKS = ANSWER_WITHIN_US / TICK_US + 1;
const THUMB = 0;

/**
 * Force in applications that know nothing of gloves: they vibrate when a hand has closed around something. When the hand
 * closes, and the application answers with a vibration soon enough, the fingers are stopped where they are, as if by what
 * was grasped. The hold ends when any of them opens, after `maxHoldS`, and with whatever frees a finger. It asks like any
 * app: arbitration and the governor come after it. Pure; allocates nothing.
 */
export class GraspHold {
  /** The app whose vibration it answered; '' while nothing is held. */
  app = '';
  private readonly stops = new Float64Array(FINGER_COUNT).fill(1);
  private readonly efforts = new Float64Array(FINGER_COUNT);
  private readonly deepest = new Float64Array(FINGER_COUNT);
  /** Per finger, 1: the governor has held it since the grasp began. */
  private readonly wasHeld = new Uint8Array(FINGER_COUNT);
  private beganUs = 0;
  private readonly past = new Float64Array(TICKS * FINGER_COUNT).fill(Number.POSITIVE_INFINITY);
  private readonly pastUs = new Float64Array(TICKS).fill(Number.NEGATIVE_INFINITY);
  private newest = 0;

  /**
   * @param effort part of the permitted maximum
   * @param maxHoldS longest hold
   */
  constructor(
    private readonly effort: number,
    private readonly maxHoldS: number,
  ) {}

  /** An application vibrates. @returns whether the fingers are held for it from now on */
  vibrated(app: string, nowUs: number, curls: ArrayLike<number>): boolean {
    if (this.app !== '' || !this.isClosing(nowUs, curls)) return false;
    this.app = app;
    this.beganUs = nowUs;
    this.wasHeld.fill(0);
    for (let finger = 0; finger < FINGER_COUNT; finger++) {
      const grasps = curls[finger] >= LEAST_CURL;
      this.stops[finger] = grasps ? curls[finger] : 1;
      this.efforts[finger] = grasps ? this.effort : 0;
      this.deepest[finger] = curls[finger];
    }
    return true;
  }

  /** Call in every step, before arbitration. @param sound the glove is armed and its samples are fresh */
  step(nowUs: number, curls: ArrayLike<number>, sound: boolean, requests: RequestStore): void {
    this.remember(nowUs, curls);
    if (this.app === '') return;
    if (!sound || !(nowUs - this.beganUs < this.maxHoldS * 1e6) || this.opened(curls)) {
      this.end(requests);
      return;
    }
    requests.set(this.app, GRASP_LAYER, this.stops, this.efforts, LIFE_US, nowUs);
  }

  /** What the governor has given: a finger that it lets go does not come back. */
  given({ held }: GovernorOutputs): void {
    if (this.app === '') return;
    for (let finger = 0; finger < FINGER_COUNT; finger++) {
      if (held[finger] === 1) this.wasHeld[finger] = 1;
      else if (this.wasHeld[finger] === 1) this.efforts[finger] = 0;
    }
  }

  end(requests: RequestStore): void {
    if (this.app !== '') requests.dropLayer(this.app, GRASP_LAYER);
    this.app = '';
  }

  private opened(curls: ArrayLike<number>): boolean {
    for (let finger = 0; finger < FINGER_COUNT; finger++) {
      if (this.efforts[finger] === 0) continue;
      this.deepest[finger] = Math.max(this.deepest[finger], curls[finger]);
      // Written so that what is not a number lets go.
      if (!(this.deepest[finger] - curls[finger] < OPENS_BY)) return true;
    }
    return false;
  }

  /** A finger has come nearer to the palm of late; the thumb alone grasps nothing. */
  private isClosing(nowUs: number, curls: ArrayLike<number>): boolean {
    for (let tick = 0; tick < TICKS; tick++) {
      if (!(nowUs - this.pastUs[tick] <= ANSWER_WITHIN_US)) continue;
      for (let finger = THUMB + 1; finger < FINGER_COUNT; finger++) {
        const rose = curls[finger] - this.past[tick * FINGER_COUNT + finger];
        if (rose >= RISE && curls[finger] >= LEAST_CURL) return true;
      }
    }
    return false;
  }

  private remember(nowUs: number, curls: ArrayLike<number>): void {
    if (nowUs - this.pastUs[this.newest] < TICK_US) return;
    this.newest = (this.newest + 1) % TICKS;
    this.pastUs[this.newest] = nowUs;
    for (let finger = 0; finger < FINGER_COUNT; finger++) {
      this.past[this.newest * FINGER_COUNT + finger] = curls[finger];
    }
  }
}
