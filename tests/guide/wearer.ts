import { barAt } from '../../src/guide/guided-run.js';
import type { Move } from '../../src/guide/moves.js';
import { FINGERS } from '../../src/hand/joints.js';
import { gaussian, random } from '../sensing/glove-signals.js';

/** A simulated wearer who does what the prompts say, as people do: late, never quite fully, with pauses. */
export interface WearerOptions {
  seed: number;
  /** Standard deviation of what is missing to a full pose, part of the range; 0: a machine. */
  sloppiness?: number;
  /** Chance to stop halfway for a moment. */
  pauses?: number;
  /** How much the neighbours follow a finger that moves alone. */
  follows?: number;
  /** When asked to, the other hand holds the fingers that are not meant. */
  holds?: boolean;
}

export interface HandState {
  /** 0 open, 1 closed. */
  readonly curls: Float64Array;
  /** -1 together, 0 at rest, 1 spread. */
  readonly splays: Float64Array;
  /** -1..1, -1..1, 0..1, 0..1. */
  readonly controls: Record<'stick.x' | 'stick.y' | 'trigger' | 'squeeze', number>;
}

interface Leg {
  startS: number;
  lengthS: number;
  from: Float64Array;
  to: Float64Array;
}

const CURLS = 0;
const SPLAYS = 5;

export function createWearer({
  seed,
  sloppiness = 0.025,
  pauses = 0.15,
  follows = 0.3,
  holds = true,
}: WearerOptions) {
  const uniform = random(seed);
  const normal = gaussian(seed + 77);
  const hand: HandState = {
    curls: new Float64Array(5),
    splays: new Float64Array(5),
    controls: { 'stick.x': 0, 'stick.y': 0, trigger: 0, squeeze: 0 },
  };
  const pose = new Float64Array(10);
  let legs: Leg[] = [];
  let seen: Move | undefined;
  let startS = 0;
  let lagS = 0.2;
  let gain = 1;

  const between = (low: number, high: number) => low + (high - low) * uniform();
  const short = () => Math.abs(normal()) * sloppiness;

  function goTo(target: Float64Array, afterS: number, lengthS = between(0.4, 0.8)): number {
    let from = legs.length > 0 ? legs[legs.length - 1].to : Float64Array.from(pose);
    let at = afterS;
    if (uniform() < pauses) {
      const middle = from.map((x, k) => x + (target[k] - x) * between(0.3, 0.7)) as Float64Array;
      legs.push({ startS: at, lengthS: lengthS * 0.6, from, to: middle });
      at += lengthS * 0.6 + between(0.15, 0.45);
      from = middle;
    }
    legs.push({ startS: at, lengthS, from, to: target });
    return at + lengthS;
  }

  /** One way of holding the whole hand: fingers miss the pose alike, and each a little on its own. */
  function posed(curl: number, splay: number): Float64Array {
    const shared = short() * 0.7;
    const target = new Float64Array(10);
    for (let f = 0; f < 5; f++) {
      const miss = shared + short() * 0.5;
      target[CURLS + f] = curl < 0.5 ? curl + miss : curl - miss;
      target[SPLAYS + f] = splay - Math.sign(splay) * (shared + short() * 0.5);
    }
    return target;
  }

  function begin(move: Move, nowS: number): void {
    const reactS = nowS + between(0.25, 0.7);
    legs = [];
    if (move.name === 'rest' || move.name === 'open') goTo(posed(0, 0), reactS);
    else if (move.name === 'fist' || move.name === 'roof' || move.name === 'hook') goTo(posed(1, 0), reactS);
    else if (move.name === 'together') goTo(posed(0, -1), reactS);
    else if (move.name === 'spread') goTo(posed(0, 1), reactS);
    else if (move.name === 'pinch') {
      const target = posed(0, 0);
      target[0] = 0.5;
      target[1] = 0.5;
      goTo(target, reactS);
    } else if (move.kind === 'lone') {
      const finger = move.finger as number;
      const closed = posed(0, 0);
      for (let f = 0; f < 5; f++) {
        const distance = Math.abs(f - finger);
        // The thumb stays out of what the fingers share.
        const share =
          move.othersHeld && holds
            ? 0.04
            : distance === 1 && f > 0 && finger > 0
              ? follows
              : distance <= 1
                ? 0.2
                : 0.08;
        closed[f] = distance === 0 ? 1 - 2 * short() : Math.max(0, share * between(0.6, 1.3));
      }
      const thereS = goTo(closed, reactS);
      goTo(posed(0, 0), thereS + between(0.1, 0.5));
    } else {
      lagS = between(0.15, 0.3);
      gain = 1 - sloppiness * 0.5 * Math.abs(normal());
    }
  }

  return {
    hand,
    /** The hand at a time, given the present move. */
    at(move: Move | undefined, nowS: number): HandState {
      if (move !== seen) {
        seen = move;
        startS = nowS;
        if (move) begin(move, nowS);
      }
      const sinceS = nowS - startS;
      for (const leg of legs) {
        const t = (nowS - leg.startS) / leg.lengthS;
        if (t < 0) break;
        // Minimum jerk (Flash & Hogan, 1985).
        const u = Math.min(t, 1);
        const s = u * u * u * (10 - 15 * u + 6 * u * u);
        for (let k = 0; k < 10; k++) pose[k] = leg.from[k] + s * (leg.to[k] - leg.from[k]);
      }
      if (move?.kind === 'follow') {
        const bar = barAt(sinceS - lagS) * gain;
        const wobble = 0.02 * Math.sin(2 * Math.PI * 0.7 * sinceS + seed);
        for (let f = 0; f < 5; f++) pose[f] = Math.min(1, Math.max(0, bar + wobble * bar * (1 - bar) * 4));
        pose.fill(0, SPLAYS);
      } else if (move?.name === 'thumbSweep') {
        const phase = Math.max(0, sinceS - 0.5) * 2 * Math.PI * 0.6;
        pose[SPLAYS] = Math.sin(phase);
        pose[CURLS] = 0.35 - 0.35 * Math.cos(phase / 2);
      }
      hand.curls.set(pose.subarray(0, 5));
      hand.splays.set(pose.subarray(5, 10));
      const busy = move?.name === 'controls' ? Math.max(0, sinceS - 0.5) * 2 * Math.PI * 0.8 : 0;
      hand.controls['stick.x'] = Math.sin(busy);
      hand.controls['stick.y'] = busy > 0 ? 1 - Math.cos(busy) - 1 : 0;
      hand.controls.trigger = Math.max(0, Math.sin(busy));
      hand.controls.squeeze = Math.max(0, Math.sin(busy));
      return hand;
    },
  };
}

export const FINGER_COUNT = FINGERS.length;
