import { type ReadonlySignal, signal } from '@preact/signals';
import { LIMIT_TEXT, type LimitName } from '../resistance/limits.js';
import { type Fault, faultsOf } from './faults.js';
import { type Live, recordingOf } from './live.js';
import { sentence, sideText } from './parts/words.js';

/** Something that happened while this page was open. */
export interface LogEntry {
  at: Date;
  /** Whose; empty for the service. */
  of: string;
  kind: 'fault' | 'well' | 'armed' | 'disarmed' | 'limit';
  text: string;
  /** How often in a row. */
  times: number;
}

const MOST = 200;
const SLOW_MS = 3000;
/** What the governor does all the time, and is shown beside the finger while it does. */
const USUAL = new Set<string>([
  'rate',
  'notBehindFinger',
  'unseen',
  'tension',
  'expired',
  'disarmed',
  'armed',
]);

/** What the governor stepped in for, in words; undefined: what it does all the time. */
export const limitText = (reason: string): string | undefined =>
  USUAL.has(reason) ? undefined : (LIMIT_TEXT[reason as LimitName] ?? reason);

/** What came and what went between two looks at the faults. */
export function changesOf(
  before: readonly Fault[],
  now: readonly Fault[],
): { kind: 'fault' | 'well'; text: string }[] {
  const has = (list: readonly Fault[], { key }: Fault) => list.some((one) => one.key === key);
  const say = ({ where, what }: Fault) => `${where}: ${what.charAt(0).toLowerCase()}${what.slice(1)}`;
  return [
    ...now.filter((one) => !has(before, one)).map((one) => ({ kind: 'fault' as const, text: say(one) })),
    ...before
      .filter((one) => !has(now, one))
      .map((one) => ({ kind: 'well' as const, text: `${say(one)}${GONE}` })),
  ];
}

/** A fault that is there again within this was never mended, ms. */
const AGAIN_MS = 30_000;
const GONE = ', no longer';

/**
 * Adds to a list with the newest first; what repeats itself is counted, not written again. A fault that comes and goes is
 * one line, the newest, as long as it comes again within half a minute: that it went is not said until it stays away.
 */
export function addEntry(entries: LogEntry[], entry: Omit<LogEntry, 'times'>): void {
  const last = entries[0];
  if (last && last.of === entry.of && last.text === entry.text) {
    last.at = entry.at;
    last.times++;
    return;
  }
  let times = 1;
  if (entry.kind === 'fault') {
    const since = entry.at.getTime() - AGAIN_MS;
    const find = (text: string) =>
      entries.findIndex((one) => one.of === entry.of && one.text === text && one.at.getTime() >= since);
    const again = find(entry.text);
    if (again >= 0) {
      times += entries[again].times;
      entries.splice(again, 1);
      const gone = find(`${entry.text}${GONE}`);
      if (gone >= 0) entries.splice(gone, 1);
    }
  }
  entries.unshift({ ...entry, times });
  if (entries.length > MOST) entries.pop();
}

/** Faults, arming and disarming, and what the governor stepped in for; newest first, until the page is closed. */
export interface EventLog {
  readonly entries: ReadonlySignal<readonly LogEntry[]>;
  clear(): void;
}

export function createEventLog(live: Live): EventLog {
  const entries = signal<readonly LogEntry[]>([]);
  const faults = new Map<string, Fault[]>();
  /** Since when the rate is low, ms: one that is measured while a glove starts says nothing. */
  const slowSince = new Map<string, number>();
  const armed = new Map<string, boolean>();
  let connected: boolean | undefined;
  const add = (of: string, kind: LogEntry['kind'], text: string) => {
    const now = [...entries.peek()];
    addEntry(now, { at: new Date(), of, kind, text });
    entries.value = now;
  };

  const look = () => {
    if (live.connected !== connected) {
      if (connected !== undefined) {
        if (live.connected) add('Service', 'well', 'There again');
        else add('Service', 'fault', 'Gone; forces end by themselves');
      }
      connected = live.connected || connected !== undefined ? live.connected : undefined;
    }
    if (!live.connected) return;
    for (const [side, hand] of live.hands) {
      const of = recordingOf(hand) === undefined ? sideText(side) : `${sideText(side)} (replay)`;
      const all = faultsOf(hand);
      if (all.every(({ key }) => key !== 'rate')) slowSince.delete(side);
      else if (!slowSince.has(side)) slowSince.set(side, performance.now());
      const slow = performance.now() - (slowSince.get(side) ?? Number.POSITIVE_INFINITY) >= SLOW_MS;
      const now = slow ? all : all.filter(({ key }) => key !== 'rate');
      for (const { kind, text } of changesOf(faults.get(side) ?? [], now)) add(of, kind, text);
      faults.set(side, now);
      const was = armed.get(side) ?? false;
      if (was !== hand.armed) add(of, hand.armed ? 'armed' : 'disarmed', hand.armed ? 'Armed' : 'Disarmed');
      armed.set(side, hand.armed);
    }
  };
  live.changed.on(look);
  live.client.on('health', look);
  live.client.on('resistance', ({ hand, events }) => {
    for (const { finger, reason } of events ?? []) {
      const text = limitText(reason);
      if (text === undefined) continue;
      add(sideText(hand), 'limit', finger ? `${sentence(finger)}: ${text}` : text);
    }
  });
  return {
    entries,
    clear() {
      entries.value = [];
    },
  };
}
