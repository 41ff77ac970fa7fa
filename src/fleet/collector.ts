import type { TautlineError } from '../errors.js';
import { type Allowance, createAllowance } from './allowance.js';
import { type ClockOffset, createClockOffset } from './clock-offset.js';
import { type CollectedRun, createRun } from './collected-run.js';
import { readSegment, readSegmentHead, type SegmentHead } from './segment.js';
import { parseSessionStart, type SessionStart } from './session-start.js';
import type { Station, StationTopic } from './topics.js';

/**
 * Turns what stations publish into sessions:
 *
 *   segment -> whose, sound, new? -> held until the start of its session is known -> file -> answered
 *
 * Everything may come from anywhere, so everything is bounded: stations, runs, what is held, bytes and files a station.
 */
export interface Collector {
  readonly counts: CollectorCounts;
  /** Resolves when the segment need not come again: it is written, or will never be. Never, when the disk failed. */
  segment(from: StationTopic, payload: Uint8Array): Promise<void>;
  /** What a session of a station begins with. */
  start(from: Station, payload: Uint8Array): Promise<void>;
  /** Call four times a second. */
  tick(): Promise<void>;
  /** Ends every file with its index. */
  close(): Promise<void>;
}

export interface CollectorCounts {
  stations: number;
  /** Files being written. */
  open: number;
  /** Files so far. */
  files: number;
  segments: number;
  bytes: number;
  duplicates: number;
  /** Segments that no file got, by reason. */
  refused: Record<'notSound' | 'tooMuch' | 'tooMany' | 'noStart', number>;
}

export interface CollectorOptions {
  folder: string;
  name: string;
  maxBytes?: number;
  maxSeconds?: number;
  limits?: Partial<CollectorLimits>;
  nowMs?: () => number;
  /** Since 1970, µs. */
  wallUs?: () => number;
  /** Least time through the broker and back, µs. */
  echoUs?: () => number | undefined;
  /** Asks for what the session of a station begins with. */
  ask(station: Station): void;
  /** A file was begun. */
  began?(station: Station, file: string): void;
  /** Nothing can be written any more. */
  failed(error: TautlineError): void;
  /** Asked for each file. @throws when there is no room */
  permit?(): void;
}

export interface CollectorLimits {
  stations: number;
  /** Sessions of a station that are written at once: one, and others for a moment after a restart. */
  runs: number;
  /** Bytes of a station at once, and a second: what it kept while the broker was away comes at once. */
  burstBytes: number;
  bytesPerS: number;
  /** Sessions that a station begins at once, and a second. */
  startsAtOnce: number;
  startsPerS: number;
  /** Bytes that wait for the start of their session. */
  heldBytes: number;
  heldBytesOfAll: number;
}

const LIMITS: CollectorLimits = {
  stations: 4096,
  runs: 3,
  burstBytes: 64e6,
  bytesPerS: 1e6,
  startsAtOnce: 8,
  startsPerS: 0.1,
  heldBytes: 4e6,
  heldBytesOfAll: 64e6,
};
const DEFAULT_MAX_BYTES = 1e9;
const DEFAULT_MAX_SECONDS = 3600;
/** A station that is silent for so long has ended its session, as far as the file is concerned. */
const IDLE_MS = 60_000;
const START_WITHIN_MS = 10_000;
const ASK_AGAIN_MS = 2000;
/** What a power cut costs. */
const SYNC_EVERY_MS = 1000;
const CLOCK_EVERY_MS = 10_000;
/** Numbers of segments that are remembered: more than can be under way. */
const REMEMBERED = 4096;

interface StationEntry extends Station {
  bytes: Allowance;
  starts: Allowance;
  runs: Map<string, Run>;
  heardMs: number;
}

interface Run {
  start: SessionStart | undefined;
  file: CollectedRun | undefined;
  held: { head: SegmentHead; payload: Uint8Array }[];
  heldBytes: number;
  /** Numbers of segments by hand, the newest ones. */
  seen: Map<string, Set<number>>;
  offset: ClockOffset;
  last: SegmentHead | undefined;
  firstMs: number;
  heardMs: number;
  askedMs: number;
  clockMs: number;
  /** What is done with it, one after the other. */
  work: Promise<void>;
}

export function createCollector(options: CollectorOptions): Collector {
  const {
    nowMs = () => performance.now(),
    wallUs = () => (performance.timeOrigin + performance.now()) * 1000,
  } = options;
  const limits = { ...LIMITS, ...options.limits };
  const stations = new Map<string, StationEntry>();
  let heldOfAll = 0;
  let broken = false;
  let syncedMs = nowMs();
  const counts: CollectorCounts = {
    stations: 0,
    open: 0,
    files: 0,
    segments: 0,
    bytes: 0,
    duplicates: 0,
    refused: { notSound: 0, tooMuch: 0, tooMany: 0, noStart: 0 },
  };

  function entryOf({ site, station }: Station): StationEntry | undefined {
    const key = `${site}/${station}`;
    let entry = stations.get(key);
    if (!entry) {
      if (stations.size >= limits.stations) return undefined;
      entry = {
        site,
        station,
        bytes: createAllowance(limits.burstBytes, limits.bytesPerS),
        starts: createAllowance(limits.startsAtOnce, limits.startsPerS),
        runs: new Map(),
        heardMs: nowMs(),
      };
      stations.set(key, entry);
      counts.stations = stations.size;
    }
    return entry;
  }

  function runOf(entry: StationEntry, id: string): Run | undefined {
    const known = entry.runs.get(id);
    if (known) return known;
    if (entry.runs.size >= limits.runs || !entry.starts.take(1, nowMs())) return undefined;
    const run: Run = {
      start: undefined,
      file: undefined,
      held: [],
      heldBytes: 0,
      seen: new Map(),
      offset: createClockOffset(),
      last: undefined,
      firstMs: nowMs(),
      heardMs: nowMs(),
      askedMs: Number.NEGATIVE_INFINITY,
      clockMs: Number.NEGATIVE_INFINITY,
      work: Promise.resolve(),
    };
    entry.runs.set(id, run);
    return run;
  }

  /** @returns false if it was seen */
  function isNew(run: Run, { hand, seq }: SegmentHead): boolean {
    let seen = run.seen.get(hand);
    if (!seen) {
      seen = new Set();
      run.seen.set(hand, seen);
    }
    if (seen.has(seq)) return false;
    seen.add(seq);
    if (seen.size > REMEMBERED) {
      for (const oldest of seen) {
        seen.delete(oldest);
        break;
      }
    }
    return true;
  }

  function fail(error: TautlineError): void {
    if (broken) return;
    broken = true;
    options.failed(error);
  }

  function begin({ site, station }: StationEntry, start: SessionStart): CollectedRun {
    counts.open++;
    return createRun({
      folder: options.folder,
      station: { site, station },
      collector: options.name,
      start,
      maxBytes: options.maxBytes ?? DEFAULT_MAX_BYTES,
      maxSeconds: options.maxSeconds ?? DEFAULT_MAX_SECONDS,
      nowMs,
      permit: () => options.permit?.(),
      began(file) {
        counts.files++;
        options.began?.({ site, station }, file);
      },
      failed: fail,
    });
  }

  async function write(entry: StationEntry, run: Run, head: SegmentHead, payload: Uint8Array): Promise<void> {
    if (broken) return never;
    try {
      run.file ??= begin(entry, run.start!);
      await run.file.write(head, payload);
      const offset = run.offset.read(head.roundTripUs, options.echoUs?.(), nowMs());
      if (offset && nowMs() - run.clockMs > CLOCK_EVERY_MS) {
        run.clockMs = nowMs();
        run.file.clock(head.sentUs, offset, head.ntp);
      }
      counts.segments++;
      counts.bytes += payload.length;
    } catch (error) {
      fail(error as TautlineError);
      return never;
    }
  }

  async function keep({ file }: Run, now: number): Promise<void> {
    try {
      await file?.settle();
      if (now - syncedMs >= SYNC_EVERY_MS) await file?.sync();
    } catch (error) {
      fail(error as TautlineError);
    }
  }

  /** In the order of the calls. */
  function inTurn(run: Run, act: () => Promise<void>): Promise<void> {
    run.work = run.work.then(act);
    return run.work;
  }

  function hold(entry: StationEntry, run: Run, head: SegmentHead, payload: Uint8Array): void {
    if (
      run.heldBytes + payload.length > limits.heldBytes ||
      heldOfAll + payload.length > limits.heldBytesOfAll
    ) {
      counts.refused.noStart++;
      return;
    }
    // A copy: the message is a part of what was read at once.
    run.held.push({ head, payload: payload.slice() });
    run.heldBytes += payload.length;
    heldOfAll += payload.length;
    askFor(entry, run);
  }

  function askFor(entry: StationEntry, run: Run): void {
    if (nowMs() - run.askedMs < ASK_AGAIN_MS) return;
    run.askedMs = nowMs();
    options.ask({ site: entry.site, station: entry.station });
  }

  function release(run: Run): Run['held'] {
    const { held } = run;
    heldOfAll -= run.heldBytes;
    run.held = [];
    run.heldBytes = 0;
    return held;
  }

  async function endRun(entry: StationEntry, id: string, run: Run): Promise<void> {
    entry.runs.delete(id);
    counts.refused.noStart += release(run).length;
    await inTurn(run, async () => {
      const { file, last } = run;
      if (!file) return;
      run.file = undefined;
      counts.open--;
      const offset = last && run.offset.read(last.roundTripUs, options.echoUs?.(), nowMs());
      if (last && offset) file.clock(last.sentUs, offset, last.ntp);
      await file.close().catch((error) => fail(error as TautlineError));
    });
  }

  return {
    counts,
    segment(from, payload) {
      const arrivedUs = wallUs();
      if (broken) return never;
      const head = readSegmentHead(payload);
      const entry = entryOf(from);
      if (!entry) counts.refused.tooMany++;
      else if (
        typeof head === 'string' ||
        head.hand !== from.hand ||
        typeof readSegment(payload, ignore) === 'string'
      ) {
        counts.refused.notSound++;
      } else if (!entry.bytes.take(payload.length, nowMs())) counts.refused.tooMuch++;
      else {
        entry.heardMs = nowMs();
        const run = runOf(entry, head.run);
        if (!run) {
          counts.refused.tooMany++;
          return answered;
        }
        run.heardMs = nowMs();
        if (!isNew(run, head)) {
          counts.duplicates++;
          return answered;
        }
        run.last = head;
        if (run.start) {
          run.offset.add(Number(BigInt(run.start.epochNs) / 1000n) + head.sentUs, arrivedUs, nowMs());
          if (run.start.digest !== head.digest) counts.refused.notSound++;
          else return inTurn(run, () => write(entry, run, head, payload));
        } else hold(entry, run, head, payload);
      }
      return answered;
    },
    async start(from, payload) {
      const entry = stations.get(`${from.site}/${from.station}`);
      // Nobody asked.
      if (!entry || ![...entry.runs.values()].some(({ start }) => !start)) return;
      const start = parseSessionStart(payload);
      if (typeof start === 'string') return;
      const run = entry.runs.get(start.run);
      if (!run || run.start) return;
      run.start = start;
      const held = release(run);
      for (const { head, payload: segment } of held) {
        if (head.digest !== start.digest) counts.refused.notSound++;
        else await inTurn(run, () => write(entry, run, head, segment));
      }
    },
    async tick() {
      const now = nowMs();
      for (const [key, entry] of stations) {
        for (const [id, run] of entry.runs) {
          const waits = !run.start;
          if (now - run.heardMs > IDLE_MS || (waits && now - run.firstMs > START_WITHIN_MS)) {
            await endRun(entry, id, run);
          } else if (waits) askFor(entry, run);
          else if (!broken) await inTurn(run, () => keep(run, now));
        }
        // Its allowances are full again by then.
        if (entry.runs.size === 0 && now - entry.heardMs > IDLE_MS * 10) stations.delete(key);
      }
      counts.stations = stations.size;
      if (now - syncedMs >= SYNC_EVERY_MS) syncedMs = now;
    },
    async close() {
      for (const entry of stations.values()) {
        for (const [id, run] of entry.runs) await endRun(entry, id, run);
      }
    },
  };
}

const ignore = (): void => {};
const answered = Promise.resolve();
/** The broker is not answered: it may give the message to another collector. */
const never = new Promise<void>(() => {});
