import type { HandSide } from '../hand/joints.js';

/** A channel of a hand. */
export interface ChannelAt {
  role: string;
  /** Undefined: of whichever there is. */
  side: HandSide | undefined;
}

/**
 * Where a channel stands in the text of a profile, as people write it: by `role:`, in the glove whose `hand:` it is.
 *
 * @returns the line, from 1; undefined where the channel is not named
 */
export function lineOfChannel(text: string, { role, side }: ChannelAt): number | undefined {
  const is = (line: string, key: string, value: string): boolean =>
    new RegExp(
      `(^|[\\s{,-])["']?${key}["']?\\s*:\\s*["']?${value.replaceAll('.', '\\.')}["']?\\s*([,}#]|$)`,
    ).test(line.replace(/(^|\s)#.*/, ''));
  const lines = text.split('\n');
  const found = lines.flatMap((line, i) => (is(line, 'role', role) ? [i] : []));
  if (found.length < 2 || side === undefined) return found.length === 0 ? undefined : found[0] + 1;
  // Both hands have it: that of the glove whose hand is named nearest before it, or else nearest after it.
  const handOf = (at: number): string | undefined => {
    const named = (line: string) => (['left', 'right'] as const).find((one) => is(line, 'hand', one));
    const before = lines.slice(0, at + 1).findLast((line) => named(line) !== undefined);
    const after = lines.slice(at).find((line) => named(line) !== undefined);
    const line = before ?? after;
    return line === undefined ? undefined : named(line);
  };
  return (found.find((at) => handOf(at) === side) ?? found[0]) + 1;
}
