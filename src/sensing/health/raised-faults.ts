import type { Mutable } from '../../mutable.js';
import { type FaultKind, fault, HEALTHY, inWordsOf, ONLY_BY_MOVES, type Verdict } from './verdicts.js';

/** Faults that signals show, most telling first. */
export const FAULT_BIT: Record<Exclude<FaultKind, 'swapped' | 'crossTalk'>, number> = {
  missing: 1,
  intermittent: 2,
  railed: 4,
  dead: 8,
  noisy: 16,
  reversed: 32,
  shortRange: 64,
  drifting: 128,
};
type ShownFault = keyof typeof FAULT_BIT;

/** Why a channel is not believed before a fault has a name: a step that no finger makes, a fall that none does. */
export const DISBELIEF = { step: 1, fall: 2 } as const;

/** The faults that each channel has now, and which of them is its verdict: the most telling one. */
export interface RaisedFaults {
  /** Per channel, FAULT_BIT of each. */
  readonly flags: Uint8Array;
  /** Per channel; the object is replaced when it changes. */
  readonly verdicts: readonly Verdict[];
  /** Per channel, 1 while any of its faults makes its value useless, or it is not believed. */
  readonly unusable: Uint8Array;
  /** Counts the changes of any verdict. */
  readonly version: number;
  /** A fault that is raised already stays as it is. */
  raise(channel: number, kind: ShownFault, usable: boolean, evidence: string): void;
  clear(channel: number, kind: ShownFault): void;
  /** Its readings are of no use, for this reason, whether or not a fault has a name yet. */
  disbelieve(channel: number, reason: number, disbelieved: boolean): void;
  /** What a guided check found: behind every fault that is raised, until the next check. */
  adopt(verdicts: readonly Verdict[]): void;
}

/** @param kinds of the channels: each is given remedies in its own words */
export function createRaisedFaults(kinds: readonly string[]): RaisedFaults {
  const channelCount = kinds.length;
  const flags = new Uint8Array(channelCount);
  const unusable = new Uint8Array(channelCount);
  const disbelieved = new Uint8Array(channelCount);
  const verdicts: Verdict[] = new Array(channelCount).fill(HEALTHY);
  const adopted: Verdict[] = new Array(channelCount).fill(HEALTHY);
  const raised: Partial<Record<ShownFault, Verdict>>[] = verdicts.map(() => ({}));

  function choose(i: number): void {
    let verdict = HEALTHY;
    let usable = true;
    for (const kind in FAULT_BIT) {
      const key = kind as ShownFault;
      if ((flags[i] & FAULT_BIT[key]) === 0) continue;
      const candidate = raised[i][key] as Verdict;
      if (verdict === HEALTHY) verdict = candidate;
      if (!candidate.usable) usable = false;
    }
    if (verdict === HEALTHY) verdict = adopted[i];
    if (!adopted[i].usable) usable = false;
    unusable[i] = usable && disbelieved[i] === 0 ? 0 : 1;
    if (verdict !== verdicts[i]) {
      verdicts[i] = verdict;
      faults.version++;
    }
  }

  const faults: Mutable<RaisedFaults> = {
    flags,
    verdicts,
    unusable,
    version: 0,
    raise(i, kind, usable, evidence) {
      if (flags[i] & FAULT_BIT[kind]) return;
      flags[i] |= FAULT_BIT[kind];
      raised[i][kind] = inWordsOf(kinds[i], fault(kind, usable, evidence));
      choose(i);
    },
    clear(i, kind) {
      if ((flags[i] & FAULT_BIT[kind]) === 0) return;
      flags[i] &= ~FAULT_BIT[kind];
      choose(i);
    },
    disbelieve(i, reason, now) {
      const reasons = now ? disbelieved[i] | reason : disbelieved[i] & ~reason;
      if (reasons === disbelieved[i]) return;
      disbelieved[i] = reasons;
      choose(i);
    },
    adopt(found) {
      for (let i = 0; i < channelCount; i++) {
        const verdict = found[i];
        adopted[i] = ONLY_BY_MOVES.has(verdict.kind)
          ? { ...verdict, evidence: `at the last check: ${verdict.evidence}` }
          : HEALTHY;
        choose(i);
      }
    },
  };
  return faults;
}
