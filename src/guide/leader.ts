import type { Leader } from './report.js';

/** A run whose leader has not been heard of for so long ends: nobody sees its prompts any more. */
const GONE_US = 1.6e6;

/** Who leads a run, and whether it is still there. */
export interface Leadership {
  readonly leader: Leader | undefined;
  /** @param leader none: a run that needs nobody to go on */
  begin(leader: Leader | undefined): void;
  /** A sign of life of the one with this id; of others it counts for nothing. */
  heardOf(id: string): void;
  /** Call now and then. @returns that nothing has been heard of the leader for too long */
  gone(nowUs: number): boolean;
}

export function createLeadership(): Leadership {
  let leader: Leader | undefined;
  /** NaN from a sign of life to the next look at the time: this has no clock of its own. */
  let heardUs = Number.NaN;
  return {
    get leader() {
      return leader;
    },
    begin(who) {
      leader = who;
      heardUs = Number.NaN;
    },
    heardOf(id) {
      if (leader?.id === id) heardUs = Number.NaN;
    },
    gone(nowUs) {
      if (Number.isNaN(heardUs)) heardUs = nowUs;
      return leader !== undefined && nowUs - heardUs > GONE_US;
    },
  };
}
