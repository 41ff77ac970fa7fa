import type { Channel } from './channels.js';
import { fault, HEALTHY, type Verdict } from './verdicts.js';

/**
 * Faults that only a known motion can tell from a habit of the wearer: reversed, swapped, short range, dead and
 * cross-talk. The wearer holds the hand open, then closes one finger at a time when asked; what each channel does
 * in answer to each prompt is one row of a matrix, and the matrix is judged.
 */
export interface GuidedCheck {
  /** Begins a prompt: the finger (index into FINGERS) that is to close and open now, the others held still. */
  begin(finger: number): void;
  /** One sample of counts, in the order of the channels given. */
  sample(counts: ArrayLike<number>): void;
  /** One verdict a channel. Channels of fingers that were not prompted, or of no finger, are healthy. */
  judge(): Verdict[];
}

/** Response, part of the converter's range, below which a channel has not moved at all. */
const NO_RESPONSE = 0.015;
/** Response, part of the converter's range, below which precision is wasted. Common practice. */
const SHORT_RESPONSE = 0.08;
/** Fingers move each other a little (one flexor muscle, many tendons); neighbours more. Common practice. */
const NATURAL_SHARE = [0, 0.6, 0.4, 0.3, 0.3] as const;

/** @param channels as compiled; only whole-finger curl and joint channels that the glove sends are judged */
export function createGuidedCheck(channels: readonly Channel[]): GuidedCheck {
  const judged = channels.map((c) => c.source >= 0 && (c.kind === 'curl' || c.kind === 'joint'));
  const n = channels.length;
  const first = new Float64Array(n);
  const answers = new Map<number, Float64Array>();
  let current: Float64Array | undefined;
  let fresh = false;

  /** Signed response of a channel to a prompt, part of the converter's range; positive towards `closed`. */
  const answer = (prompt: number, i: number): number => {
    const sign = channels[i].closed < channels[i].open ? -1 : 1;
    return ((answers.get(prompt)?.[i] ?? 0) * sign) / channels[i].lookup.maxCounts;
  };

  return {
    begin(finger) {
      current = new Float64Array(n);
      answers.set(finger, current);
      fresh = true;
    },
    sample(counts) {
      if (!current) return;
      for (let i = 0; i < n; i++) {
        if (fresh) first[i] = counts[i];
        const moved = counts[i] - first[i];
        if (Math.abs(moved) > Math.abs(current[i])) current[i] = moved;
      }
      fresh = false;
    },
    judge() {
      return channels.map((channel, i) => {
        const own = channel.finger;
        if (!judged[i] || !answers.has(own)) return HEALTHY;
        const mine = answer(own, i);
        const others = [...answers.keys()].filter((prompt) => prompt !== own);
        const loudest = others.reduce(
          (best, prompt) => (Math.abs(answer(prompt, i)) > Math.abs(answer(best, i)) ? prompt : best),
          others[0] ?? own,
        );
        const loud = Math.abs(answer(loudest, i));
        const at = Math.abs(mine);
        if (at < NO_RESPONSE && loud < NO_RESPONSE) {
          return fault('dead', false, `moved by ${percent(at)} of the converter when its finger closed`);
        }
        if (loudest !== own && loud > 2 * at) {
          // Swapped if a channel of that other finger answers to this one's prompt in return.
          const twin = channels.findIndex(
            (other, j) =>
              judged[j] &&
              other.finger === loudest &&
              other.kind === channel.kind &&
              Math.abs(answer(own, j)) > 2 * Math.abs(answer(loudest, j)),
          );
          const numbers = `moved by ${percent(at)} for its own finger and by ${percent(loud)} for another`;
          if (twin >= 0)
            return fault('swapped', false, `${numbers}; ${channels[twin].role} does the reverse`);
          return fault('crossTalk', false, numbers);
        }
        if (mine < 0) {
          return fault('reversed', false, `moved by ${percent(at)} of the converter away from closed`);
        }
        if (at < SHORT_RESPONSE) {
          return fault('shortRange', true, `uses ${percent(at)} of the converter`);
        }
        for (const prompt of others) {
          const share = Math.abs(answer(prompt, i)) / at;
          if (share > NATURAL_SHARE[Math.abs(prompt - own)]) {
            return fault('crossTalk', true, `follows another finger by ${percent(share)} of its own motion`);
          }
        }
        return HEALTHY;
      });
    },
  };
}

const percent = (part: number): string => `${Math.round(part * 100)} %`;
