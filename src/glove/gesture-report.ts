import type { Touch } from '../contact/touches.js';
import { FINGERS, type HandSide } from '../hand/joints.js';
import { GESTURES } from '../protocol/constants.js';
import type { ServerMessageOf } from '../protocol/messages.js';
import type { Gestures } from '../sensing/gestures.js';
import type { HandFrame } from './view.js';

export type GesturesBody = Omit<ServerMessageOf<'gestures'>, 'type'>;
export type TouchReport = GesturesBody['touches'][number];

/** What the hand is doing, as a body of the stream's message. */
export function reportGestures(
  hand: HandSide,
  { active, sinceUs }: Gestures,
  frame: HandFrame,
  touches: TouchReport[],
): GesturesBody {
  const states = Object.fromEntries(
    GESTURES.map((name, i) => [
      name,
      {
        active: frame.valid && active[i] === 1,
        ...(Number.isNaN(sinceUs[i]) ? {} : { sinceUs: Math.round(sinceUs[i] + frame.shownLaterUs) }),
      },
    ]),
  ) as GesturesBody['states'];
  return { hand, timeUs: Math.round(frame.timeUs), valid: frame.valid, states, touches };
}

/** @param prefix length of what the glove puts before the app's own name of the layer */
export const reportTouches = (live: readonly Touch[], prefix: number): TouchReport[] =>
  live
    .filter(({ grasp }) => grasp.fingers.includes(1))
    .map(({ app, layer, grasp }) => ({
      by: app,
      ...(layer.length > prefix ? { layer: layer.slice(prefix) } : {}),
      fingers: FINGERS.filter((_, finger) => grasp.fingers[finger] === 1),
      carried: grasp.carried,
    }));
