import { existsSync } from 'node:fs';
import { mkdir, open } from 'node:fs/promises';
import { join } from 'node:path';
import type { TautlineError } from '../errors.js';
import type { HandSide } from '../hand/joints.js';
import { type FileSink, openFileSink, writeError } from '../recording/file-sink.js';
import { SESSION_VERSION } from '../recording/format.js';
import { createHandMerge } from '../recording/hand-merge.js';
import { partName } from '../recording/recorder.js';
import { createSessionWriter, type SessionWriter } from '../recording/session-writer.js';
import type { Offset } from './clock-offset.js';
import { createHandStates } from './hand-states.js';
import type { NtpState } from './ntp.js';
import { readSegment, type SegmentChannel, type SegmentHead } from './segment.js';
import type { SessionStart } from './session-start.js';
import type { Station } from './topics.js';

/** The recording of one run of a station, by one collector: a session file, or several. */
export interface CollectedRun {
  /** Undefined before the first. */
  readonly file: string | undefined;
  /**
   * Resolves when it is with the operating system, so that a kill of this process loses nothing of it; of two hands, when
   * it waits for the other one.
   */
  write(head: SegmentHead, segment: Uint8Array): Promise<void>;
  /** Writes what has waited for the other hand for too long. */
  settle(): Promise<void>;
  clock(timeUs: number, offset: Offset, ntp: NtpState): void;
  /** To the disk itself. */
  sync(): Promise<void>;
  /** Ends the file with its index. */
  close(): Promise<void>;
}

export interface RunOptions {
  folder: string;
  station: Station;
  collector: string;
  start: SessionStart;
  maxBytes: number;
  maxSeconds: number;
  nowMs: () => number;
  /** Asked for each file. @throws when there is no room */
  permit(): void;
  /** A file was begun. */
  began(file: string): void;
  failed(error: TautlineError): void;
}

interface Item {
  timeUs: number;
  hand: HandSide;
  /** 'segment': another one begins, with this number. */
  channel: SegmentChannel | 'segment';
  seq: number;
  bytes: Uint8Array;
  cameMs: number;
}

/** Longer than the time between two segments of a hand: the other hand is silent. */
const MERGE_WITHIN_MS = 400;
const MOST_PARTS = 99_999;
const NOTHING = new Uint8Array(0);

export function createRun(options: RunOptions): CollectedRun {
  const { folder, station, collector, start, maxBytes, maxSeconds, nowMs } = options;
  const home = join(folder, station.site, station.station);
  const stamp = isoAt(start.epochNs, 0).replace(/[-:]|\.\d+/g, '');
  const base = join(home, `${stamp}-${start.run.slice(0, 8)}-${collector}.mcap`);
  const states = createHandStates(start);
  const merge = createHandMerge<Item>(start.hands.length);
  /** Hands whose state stands in the file already. */
  const stated = new Set<HandSide>();
  let part = 0;
  let partBeganMs = 0;
  let sink: FileSink | undefined;
  let writer: SessionWriter | undefined;
  let opened: { datasync(): Promise<void> } | undefined;
  let unsynced = false;
  let file: string | undefined;

  async function beginPart(timeUs: number): Promise<SessionWriter> {
    options.permit();
    if (part === 0) {
      await mkdir(home, { recursive: true }).catch((error) => {
        throw writeError(home, error, true);
      });
    }
    do part++;
    while (existsSync(partName(base, part)) && part < MOST_PARTS);
    file = partName(base, part);
    partBeganMs = nowMs();
    stated.clear();
    const made = await openFileSink(file, { failed: options.failed, openFile: openLazily });
    sink = made;
    const begun = createSessionWriter(made.write, {
      session: SESSION_VERSION,
      program: start.program,
      startedAt: isoAt(start.epochNs, timeUs),
      timeUs,
      epochNs: start.epochNs,
      part,
      hands: start.hands,
      joints: false,
    });
    begun.json(undefined, 'profile', timeUs, start.profile);
    begun.json(undefined, 'origin', timeUs, { ...station, run: start.run, collector });
    options.began(file);
    return begun;
  }

  /** To the disk itself all files together, by sync(): one wait for each of hundreds of files is too many. */
  async function openLazily(path: string, flags: string) {
    const handle = await open(path, flags);
    opened = handle;
    return {
      write: handle.write.bind(handle),
      datasync: () => Promise.resolve(),
      async close() {
        if (opened === handle) opened = undefined;
        await handle.datasync().finally(() => handle.close());
      },
    } as unknown as typeof handle;
  }

  async function put({ timeUs, hand, channel, seq, bytes }: Item): Promise<void> {
    const isFull = writer && (writer.bytes >= maxBytes || nowMs() - partBeganMs >= maxSeconds * 1000);
    if (isFull) {
      writer!.end();
      await sink!.close();
      writer = undefined;
    }
    writer ??= await beginPart(timeUs);
    if (!stated.has(hand)) {
      stated.add(hand);
      // The first segment of a run has it itself.
      if (channel !== 'segment' || seq > 0) states.write(writer, hand, timeUs);
    }
    if (channel === 'segment') writer.json(hand, channel, timeUs, { timeUs, seq });
    else if (channel === 'received' || channel === 'sent') writer.link(hand, channel, timeUs, bytes);
    else {
      writer.jsonText(hand, channel, timeUs, bytes);
      states.take(hand, channel, bytes);
    }
  }

  async function drain(take: () => Item | undefined): Promise<void> {
    for (let item = take(); item; item = take()) await put(item);
    if (!writer || !sink) return;
    writer.flush();
    unsynced = true;
    await sink.drained();
    if (sink.failure) throw sink.failure;
  }

  return {
    get file() {
      return file;
    },
    async write({ hand, seq }, segment) {
      const index = start.hands.indexOf(hand);
      // A glove that is of the other hand than its profile says is described anew, and this segment comes before.
      if (index < 0) return;
      let isFirst = true;
      const cameMs = nowMs();
      // Of one hand, nothing waits: the bytes are written before the message is given back.
      const keep =
        start.hands.length > 1 ? (bytes: Uint8Array) => bytes.slice() : (bytes: Uint8Array) => bytes;
      readSegment(segment, (channel, timeUs, bytes) => {
        if (isFirst) merge.push(index, { timeUs, hand, channel: 'segment', seq, bytes: NOTHING, cameMs });
        isFirst = false;
        merge.push(index, { timeUs, hand, channel, seq, bytes: keep(bytes), cameMs });
      });
      await drain(merge.next);
    },
    async settle() {
      const before = nowMs() - MERGE_WITHIN_MS;
      // One hand may go on and on, and the other one's segments to another collector.
      const isOld = (): boolean => (merge.peek()?.cameMs ?? Number.POSITIVE_INFINITY) <= before;
      if (isOld()) await drain(() => (isOld() ? merge.any() : merge.next()));
    },
    clock(timeUs, { offsetUs, errorUs }, ntp) {
      writer?.json(undefined, 'clock', timeUs, {
        timeUs,
        offsetUs: Math.round(offsetUs),
        ...(errorUs === undefined ? {} : { errorUs: Math.ceil(errorUs) }),
        ntp,
      });
    },
    async sync() {
      if (!unsynced) return;
      unsynced = false;
      // If it fails, so does the next write, which says so.
      await opened?.datasync().catch(() => {});
    },
    async close() {
      if (!sink?.failure) await drain(merge.any);
      writer?.end();
      writer = undefined;
      await sink?.close();
    },
  };
}

function isoAt(epochNs: string, timeUs: number): string {
  const ms = Number((BigInt(epochNs) + BigInt(Math.round(timeUs * 1000))) / 1_000_000n);
  // Whatever a station says, there is a date for it: the range of Date is ±8.64e15 ms.
  return new Date(Math.min(ms, 8.64e15)).toISOString();
}
