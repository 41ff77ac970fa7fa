import type { Touch } from '../contact/touches.js';
import { type Felt, knock, roughen, softDepth, soften } from './feel.js';
import { FINGER_COUNT } from './requests.js';
import type { WearerFeel } from './wearer-feel.js';

/**
 * From what a hand touches to what is asked of the actuators: where each finger meets the shape, and how the
 * surface feels. What comes out is a request like any app's, for arbitration and governor to judge.
 */

/** A finger is at the surface from this far before it, and has left it this far before it, curl. */
const TOUCHES_FROM = 0.01;
const LEAVES_FROM = 0.04;
/** String travel from open to closed, m: the usual heights over the joints (DEFAULT_HEIGHTS_MM) times their ranges. */
export const STRING_TRAVEL_M = 0.043;
/**
 * A light hold, N at the string: 1.7 N at the pad. What gives under it is taken off the stop, so that a finger which
 * presses so rests at the surface; one that hardly presses rests as far before it as it would otherwise go beyond.
 * Common practice.
 */
const HELD_N = 5;
/** Half the commands that can be sent in a second: a faster wave would be felt as a slower one (Nyquist). */
const MAX_TEXTURE_HZ = 100;

/** What is known of what stops a finger. */
export interface FingerForce {
  /** String tension at effort 1, N; 0: nothing stops it. */
  tensionN: number;
  /** It is stopped at a place (a string); a brake only slows it where it is. */
  hasStop: boolean;
  /** How far the finger goes on past its stop for each newton at the string, m of string. */
  giveMPerN: number;
}

/** How one finger met one touch. */
interface Meeting {
  readonly touching: Uint8Array;
  readonly sinceUs: Float64Array;
  /** Speed of impact, curl a second. */
  readonly speeds: Float64Array;
}

/** One per glove. Allocates only when a touch begins. */
export class TouchRequests {
  /** Written by `ask`: curl, and 0..1 of the permitted maximum, per finger. */
  readonly stops = new Float64Array(FINGER_COUNT);
  readonly efforts = new Float64Array(FINGER_COUNT);
  /** Written by `ask`: curl by which the stop is before the surface, because string and servo give. */
  readonly gives = new Float64Array(FINGER_COUNT);
  private readonly felt: Felt = { stopAt: 1, effort: 0 };
  private readonly meetings = new WeakMap<Touch, Meeting>();

  /** @param forces per finger */
  constructor(
    private readonly forces: readonly FingerForce[],
    private readonly wearer: WearerFeel = {},
  ) {}

  /**
   * Works out what a solved touch asks for now.
   * @param curls measured, per finger
   * @param rates curl a second, per finger
   */
  ask(touch: Touch, curls: ArrayLike<number>, rates: ArrayLike<number>, nowUs: number): void {
    let meeting = this.meetings.get(touch);
    if (!meeting) {
      meeting = {
        touching: new Uint8Array(FINGER_COUNT),
        sinceUs: new Float64Array(FINGER_COUNT),
        speeds: new Float64Array(FINGER_COUNT),
      };
      this.meetings.set(touch, meeting);
    }
    for (let finger = 0; finger < FINGER_COUNT; finger++) {
      const { stop } = touch.contacts[finger];
      const full = touch.request.effort ?? 1;
      // Written so that what is not a number asks for nothing.
      if (touch.placed && touch.holds[finger] === 1 && stop <= 1 && full > 0) {
        this.feel(touch, finger, full, curls[finger], rates[finger], nowUs, meeting);
      } else {
        meeting.touching[finger] = 0;
        this.stops[finger] = 1;
        this.efforts[finger] = 0;
        this.gives[finger] = 0;
      }
    }
  }

  private feel(
    { contacts, request }: Touch,
    finger: number,
    full: number,
    curl: number,
    rate: number,
    nowUs: number,
    meeting: Meeting,
  ): void {
    const { depthPerCurl } = contacts[finger];
    const { tensionN, hasStop, giveMPerN } = this.forces[finger];
    const { felt } = this;
    // By virtual work, a string of tension T holds the pad with T times string travel over the way of the pad.
    const forceN = (full * tensionN * STRING_TRAVEL_M) / depthPerCurl;
    const stiffness = Math.min(
      request.stiffness ?? Number.POSITIVE_INFINITY,
      this.wearer.stiffnessNPerM ?? Number.POSITIVE_INFINITY,
    );
    const depth = softDepth(stiffness, forceN, depthPerCurl);
    // A soft surface gives by itself.
    const give =
      hasStop && depth === 0 ? (giveMPerN * Math.min(HELD_N, full * tensionN)) / STRING_TRAVEL_M : 0;
    const stop = contacts[finger].stop - give;
    soften(stop, depth, full, curl, hasStop, felt);

    const wasTouching = meeting.touching[finger] === 1;
    const touching = curl >= stop - (wasTouching ? LEAVES_FROM : TOUCHES_FROM);
    meeting.touching[finger] = touching ? 1 : 0;
    if (touching && !wasTouching) {
      meeting.sinceUs[finger] = nowUs;
      meeting.speeds[finger] = Math.max(0, rate);
    }
    let { effort } = felt;
    if (touching) {
      effort = knock(effort, (nowUs - meeting.sinceUs[finger]) / 1e6, meeting.speeds[finger]);
      const { texture } = request;
      if (texture && texture.amplitude > 0) {
        const frequencyHz = Math.min(texture.frequencyHz, MAX_TEXTURE_HZ);
        const amplitude = texture.amplitude * (this.wearer.texture ?? 1);
        effort = roughen(effort, amplitude, frequencyHz, nowUs, rate);
      }
    }
    this.gives[finger] = give;
    this.stops[finger] = felt.stopAt;
    this.efforts[finger] = Number.isFinite(effort) ? effort : 0;
  }
}
