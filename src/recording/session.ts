import type { Static } from '@sinclair/typebox';
import { parseProfile } from '../config/load.js';
import type { Profile } from '../config/schema.js';
import { TautlineError } from '../errors.js';
import { HAND_SIDES, type HandSide } from '../hand/joints.js';
import { type Damage, type McapFile, openMcap } from '../mcap/reader.js';
import type { ServerMessageOf } from '../protocol/messages.js';
import { isSoundBody } from './body-checks.js';
import {
  type ClockSchema,
  type DriftSchema,
  type FitsSchema,
  type GloveSchema,
  type HandChannel,
  LINK_HEADER_BYTES,
  type MarkSchema,
  type OriginSchema,
  parseTopic,
  SESSION_VERSION,
  type SegmentSchema,
  type SessionChannel,
  type SessionSchema,
  type StatusSchema,
} from './format.js';

export type SessionHead = Static<typeof SessionSchema>;
export type GloveBody = Static<typeof GloveSchema>;
export type StatusBody = Static<typeof StatusSchema>;
export type DriftBody = Static<typeof DriftSchema>;
export type FitsBody = Static<typeof FitsSchema>;
export type MarkBody = Static<typeof MarkSchema>;
export type OriginBody = Static<typeof OriginSchema>;
export type ClockBody = Static<typeof ClockSchema>;
export type SegmentBody = Static<typeof SegmentSchema>;
export interface RequestBody {
  timeUs: number;
  app: string;
  request: { type: string; [key: string]: unknown };
  refusal?: { code: string; message: string };
}

/** Receives the contents of a session in the order of recording. Kinds without a function here are not even decoded. */
export interface SessionVisitor {
  /** @param bytes valid only during the call */
  received?(hand: HandSide, timeUs: number, bytes: Uint8Array): void;
  sent?(hand: HandSide, timeUs: number, bytes: Uint8Array): void;
  /** @param record as in the stream's binary encoding; valid only during the call */
  joints?(hand: HandSide, timeUs: number, record: Uint8Array): void;
  glove?(hand: HandSide, timeUs: number, body: GloveBody): void;
  fits?(hand: HandSide, timeUs: number, body: FitsBody): void;
  status?(hand: HandSide, timeUs: number, body: StatusBody): void;
  drift?(hand: HandSide, timeUs: number, body: DriftBody): void;
  request?(hand: HandSide, timeUs: number, body: RequestBody): void;
  resistance?(hand: HandSide, timeUs: number, body: Omit<ServerMessageOf<'resistance'>, 'type'>): void;
  health?(hand: HandSide, timeUs: number, body: Omit<ServerMessageOf<'health'>, 'type'>): void;
  /** Of a session that came through a broker; each segment stands before its records. */
  segment?(hand: HandSide, timeUs: number, body: SegmentBody): void;
  mark?(timeUs: number, body: MarkBody): void;
  origin?(timeUs: number, body: OriginBody): void;
  clock?(timeUs: number, body: ClockBody): void;
  profile?(timeUs: number, body: unknown): void;
  session?(timeUs: number, body: unknown): void;
}

export interface SessionState {
  glove: GloveBody | undefined;
  /** Absent in sessions from before 0.1.0. */
  fits: FitsBody | undefined;
  status: StatusBody | undefined;
  /** Up to a few seconds older than the time; absent in older sessions. */
  drift: DriftBody | undefined;
}

/** A session file that is open for reading. Times are µs of the recording service's clock. */
export interface Session {
  readonly file: McapFile;
  readonly head: SessionHead;
  /** The effective profile at the start. */
  readonly profile: Profile;
  readonly hands: readonly HandSide[];
  readonly startUs: number;
  readonly endUs: number;
  readonly damage: Damage;
  readonly chunkCount: number;
  chunkStartUs(chunk: number): number;
  chunkEndUs(chunk: number): number;
  /** The chunk to begin with in order to see everything from a time on. */
  chunkAt(timeUs: number): number;
  visitChunk(chunk: number, visitor: SessionVisitor): void;
  visit(visitor: SessionVisitor): void;
  /** The glove's description, the fits in use and the state of its link at a time. */
  stateAt(hand: HandSide, timeUs: number): SessionState;
  /** Of a session that came through a broker: where it comes from, and its station's clock as last seen by a time. */
  stationAt(timeUs: number): { origin: OriginBody | undefined; clock: ClockBody | undefined };
  close(): void;
}

/** @throws TautlineError when it cannot be opened or is not a session of ours */
export function openSession(path: string): Session {
  const file = openMcap(path);
  try {
    return readSession(file);
  } catch (error) {
    file.close();
    throw error;
  }
}

function readSession(file: McapFile): Session {
  const { path, damage } = file;
  const utf8 = new TextDecoder('utf-8', { fatal: true });
  const topics = new Map<number, ReturnType<typeof parseTopic>>();
  let epochNs = 0n;

  function topicOf(channelId: number): ReturnType<typeof parseTopic> {
    const known = topics.get(channelId);
    if (known) return known;
    const channel = file.channels.get(channelId);
    const topic = channel && parseTopic(channel.topic);
    if (topic) topics.set(channelId, topic);
    return topic;
  }

  function visitChunk(chunk: number, visitor: SessionVisitor): void {
    file.readChunk(chunk, (channelId, logTimeNs, data, view) => {
      const topic = topicOf(channelId);
      if (!topic) return;
      const { hand, channel } = topic;
      const take = visitor[channel];
      if (!take) return;
      if (channel === 'received' || channel === 'sent') {
        const timeUs =
          data.length < LINK_HEADER_BYTES
            ? Number.NaN
            : view.getFloat64(data.byteOffset - view.byteOffset, true);
        if (!Number.isFinite(timeUs)) damage.messages++;
        else visitor[channel]!(hand!, timeUs, data.subarray(LINK_HEADER_BYTES));
        return;
      }
      const timeUs = Number(logTimeNs - epochNs) / 1000;
      if (channel === 'joints') {
        visitor.joints!(hand!, timeUs, data);
        return;
      }
      const body = parse(data, channel);
      if (body === undefined) damage.messages++;
      else if (hand === undefined)
        (take as (timeUs: number, body: unknown) => void).call(visitor, timeUs, body);
      else
        (take as (hand: HandSide, timeUs: number, body: unknown) => void).call(visitor, hand, timeUs, body);
    });
  }

  function parse(data: Uint8Array, channel: SessionChannel | HandChannel): unknown {
    try {
      const body: unknown = JSON.parse(utf8.decode(data));
      return isSoundBody(channel, body) ? body : undefined;
    } catch {
      return undefined;
    }
  }

  /** The newest of a kind by a time; undefined when there is none. */
  function latest<T>(
    timeUs: number,
    wanted: string,
    read: (take: (timeUs: number, body: T) => void) => SessionVisitor,
  ) {
    let found: T | undefined;
    const visitor = read((atUs, body) => {
      if (atUs <= timeUs) found = body;
    });
    const ids = [...file.channels].filter(([, { topic }]) => topic === wanted).map(([id]) => id);
    for (let chunk = chunkAt(timeUs); chunk >= 0 && found === undefined && ids.length > 0; chunk--) {
      if (ids.some((id) => file.chunkHas(chunk, id))) visitChunk(chunk, visitor);
    }
    return found;
  }

  const chunkAt = (timeUs: number): number => {
    // Chunk times are rounded; a chunk too early costs nothing.
    const chunk = file.findChunk(Number(epochNs) + timeUs * 1000 - 1000);
    return chunk > 0 && Number(epochNs) + timeUs * 1000 <= file.chunkStartNs(chunk) + 1000
      ? chunk - 1
      : chunk;
  };

  if (file.chunkCount === 0) {
    throw new TautlineError(
      'fileInvalid',
      file.profile === 'tautline'
        ? `${path}: nothing was recorded, or nothing of it can be read.`
        : `${path}: an MCAP file without messages that this program can read.`,
    );
  }
  let head: SessionHead | undefined;
  let text: string | undefined;
  const hands = new Set<HandSide>();
  // Both stand at the start; a damaged start need not end it.
  for (let chunk = 0; chunk < file.chunkCount && !(head && text); chunk++) {
    visitChunk(chunk, {
      session: (_, body) => {
        head ??= body as SessionHead;
      },
      profile: (_, body) => {
        text ??= JSON.stringify(body);
      },
    });
  }
  if (!head || text === undefined) {
    const ours = file.profile === 'tautline';
    throw new TautlineError(
      'fileInvalid',
      ours
        ? `${path}: the start of the session is missing or damaged.`
        : `${path}: no session of this program.`,
      ours ? undefined : 'It is an MCAP file of another one.',
    );
  }
  if (head.session !== SESSION_VERSION) {
    throw new TautlineError(
      'fileInvalid',
      `${path}: a session of version ${head.session}; this program knows version ${SESSION_VERSION}.`,
      'Use a newer version of the program.',
    );
  }
  epochNs = BigInt(head.epochNs);
  for (const { topic } of file.channels.values()) {
    const { hand } = parseTopic(topic) ?? {};
    if (hand) hands.add(hand);
  }
  const profile = parseProfile(text, `${path} (profile)`, true);
  let endNs = 0;
  for (let chunk = 0; chunk < file.chunkCount; chunk++) endNs = Math.max(endNs, file.chunkEndNs(chunk));
  const startUs = head.timeUs;
  // Times of the index are rounded to some 0.3 µs: the last message is not to lie behind the end.
  const endUs = Math.max(startUs, (endNs - Number(epochNs)) / 1000) + 1;

  return {
    file,
    head,
    profile,
    hands: HAND_SIDES.filter((hand) => hands.has(hand)),
    startUs,
    endUs,
    damage,
    get chunkCount() {
      return file.chunkCount;
    },
    chunkStartUs: (chunk) => (file.chunkStartNs(chunk) - Number(epochNs)) / 1000,
    chunkEndUs: (chunk) => (file.chunkEndNs(chunk) - Number(epochNs)) / 1000,
    chunkAt,
    visitChunk,
    visit(visitor) {
      for (let chunk = 0; chunk < file.chunkCount; chunk++) visitChunk(chunk, visitor);
    },
    stateAt: (hand, timeUs) => ({
      glove: latest<GloveBody>(timeUs, `${hand}/glove`, (take) => ({
        glove: (of, atUs, body) => void (of === hand && take(atUs, body)),
      })),
      fits: latest<FitsBody>(timeUs, `${hand}/fits`, (take) => ({
        fits: (of, atUs, body) => void (of === hand && take(atUs, body)),
      })),
      status: latest<StatusBody>(timeUs, `${hand}/status`, (take) => ({
        status: (of, atUs, body) => void (of === hand && take(atUs, body)),
      })),
      drift: latest<DriftBody>(timeUs, `${hand}/drift`, (take) => ({
        drift: (of, atUs, body) => void (of === hand && take(atUs, body)),
      })),
    }),
    stationAt: (timeUs) => ({
      origin: latest<OriginBody>(timeUs, 'origin', (take) => ({ origin: take })),
      clock: latest<ClockBody>(timeUs, 'clock', (take) => ({ clock: take })),
    }),
    close: file.close,
  };
}
