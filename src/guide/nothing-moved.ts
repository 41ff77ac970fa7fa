import type { WatchedChannel } from './guided-run.js';
import type { MoveRecord } from './move-record.js';
import { median } from './move-statistics.js';

/** An end of the converter, part of it. */
const END = 0.005;

/** Why a run was abandoned in which nothing moved, as far as the readings tell, and what to do. */
export function whyNothingMoved(record: MoveRecord, channels: readonly WatchedChannel[]): string {
  const sent = [...channels.entries()].filter(([, { source, kind }]) => source >= 0 && kind !== 'wrist');
  const levels = sent.map(([i, { lookup }]) => median(record.column(i)) / lookup.maxCounts);
  const all = (test: (level: number) => boolean) => levels.length > 0 && levels.every(test);
  const nothing = 'Nothing moved when it was asked to';
  if (all((level) => level < END)) {
    return `${nothing}, and every sensor reads 0: their supply is off, or a plug. Check it, then begin again.`;
  }
  if (all((level) => level > 1 - END)) {
    return `${nothing}, and every sensor reads full scale: their ground is off. Check it, then begin again.`;
  }
  return `${nothing}. Wear the glove and begin again; if you did move, no sensor answers: check their plug, supply and ground.`;
}
