import type { Mutable } from '../mutable.js';
import type { Leader } from './report.js';

/** A run ends when its leader has not been heard from for this long: nobody sees its prompts any more. */
const GONE_US = 1.6e6;

/** Who leads a run, and whether it is still there. */
export interface Leadership {
  readonly leader: Leader | undefined;
  /** @param leader undefined: a run that needs no leader */
  begin(leader: Leader | undefined): void;
  /** A sign of life from the client with this id; ignored unless it leads. */
  heardOf(id: string): void;
  /** Call regularly. @returns true when the leader has been silent for too long */
  gone(nowUs: number): boolean;
}

export function createLeadership(): Leadership {
  /** NaN from a sign of life to the next call of `gone`: this has no clock of its own. */
  let heardUs = Number.NaN;
  const leadership: Mutable<Leadership> = {
    leader: undefined,
    begin(who) {
      leadership.leader = who;
      heardUs = Number.NaN;
    },
    heardOf(id) {
      if (leadership.leader?.id === id) heardUs = Number.NaN;
    },
    gone(nowUs) {
      if (Number.isNaN(heardUs)) heardUs = nowUs;
      return leadership.leader !== undefined && nowUs - heardUs > GONE_US;
    },
  };
  return leadership;
}
