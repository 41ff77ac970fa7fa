import type { ServerMessageOf } from '../protocol/messages.js';
import { FAULT_KINDS } from '../sensing/health/verdicts.js';

type Channel = ServerMessageOf<'health'>['channels'][number];

/** So long what is said of a channel stays, ms: long enough to be read. */
export const HELD_MS = 3000;

/** Most telling first, as the table of faults has them; a healthy channel is last. */
const KINDS: readonly string[] = FAULT_KINDS;
const rankOf = (verdict: string): number => {
  const rank = KINDS.indexOf(verdict);
  return verdict === 'healthy' ? KINDS.length + 1 : rank < 0 ? KINDS.length : rank;
};

/** The numbers of now stay those of now. */
const withWordsOf = ({ verdict, evidence, remedy }: Channel, channel: Channel): Channel => ({
  ...channel,
  verdict,
  evidence,
  remedy,
});

/**
 * What is said of the channels of one hand. A loose plug is noisy now and at an end of its converter then, several times
 * a second: nobody can read that. A fault shows at once, and so does one that tells more; what tells less, or that all is
 * well again, waits until what is said has not been true for HELD_MS.
 *
 * @returns takes the channels as they are judged, and the time in ms; gives them as they are to be shown
 */
export function createHeldVerdicts(): (channels: readonly Channel[], nowMs: number) => Channel[] {
  const said = new Map<string, { channel: Channel; wordsAtMs: number; trueAtMs: number }>();
  return (channels, nowMs) =>
    channels.map((channel) => {
      const before = said.get(channel.role);
      const isSame = before?.channel.verdict === channel.verdict;
      const isLess = before !== undefined && rankOf(channel.verdict) > rankOf(before.channel.verdict);
      if (before && isLess && nowMs - before.trueAtMs < HELD_MS) return withWordsOf(before.channel, channel);
      // Its figures change with each time it is found: they are to be read as well.
      if (before && isSame && nowMs - before.wordsAtMs < HELD_MS) {
        before.trueAtMs = nowMs;
        return withWordsOf(before.channel, channel);
      }
      said.set(channel.role, { channel, wordsAtMs: nowMs, trueAtMs: nowMs });
      return channel;
    });
}
