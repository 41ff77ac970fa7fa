import { type HandSide, JOINT_COUNT, POSE_STRIDE } from '../hand/joints.js';
import { type Live, RATE_HZ } from './live.js';
import { hasMoved } from './scene/moved.js';

/** Poses a second while every hand rests and is glanced at: the first move is seen 40 ms late at most. */
export const REST_HZ = 25;
const REST_AFTER_MS = 2000;
/** A hand whose skin moves by less rests: the noise of its sensors. */
const AT_REST_M = 5e-4;

/** Takes fewer poses while no hand moves and nothing is plotted, and all of them again with the first move. */
export interface RestPace {
  /** @param glanced the part that is shown measures nothing */
  glance(glanced: boolean): void;
}

export function createRestPace(live: Pick<Live, 'client'>, now = () => performance.now()): RestPace {
  const places = new Map<HandSide, { at: Float64Array; movedMs: number }>();
  let glanced = false;
  let resting = false;

  const set = (rests: boolean): void => {
    if (rests === resting) return;
    resting = rests;
    live.client.adjust({ rateHz: rests ? REST_HZ : RATE_HZ });
  };
  const allRest = (nowMs: number): boolean => {
    for (const { movedMs } of places.values()) if (nowMs - movedMs < REST_AFTER_MS) return false;
    return places.size > 0;
  };

  live.client.on('joints', ({ hand, poses }) => {
    const nowMs = now();
    let place = places.get(hand);
    if (!place) {
      place = { at: new Float64Array(JOINT_COUNT * POSE_STRIDE).fill(Number.NaN), movedMs: nowMs };
      places.set(hand, place);
    }
    if (hasMoved(place.at, poses, AT_REST_M)) {
      place.at.set(poses);
      place.movedMs = nowMs;
    }
    set(glanced && allRest(nowMs));
  });
  live.client.on('welcome', () => places.clear());
  return {
    glance(isGlanced) {
      glanced = isGlanced;
      if (!glanced) set(false);
    },
  };
}
