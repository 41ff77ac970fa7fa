import { TautlineError } from '../errors.js';
import type { HandSide } from '../hand/joints.js';
import { begin, copy, type Entry } from './edit.js';
import type { FileWriter } from './file-writer.js';
import { type HandChannel, parseTopic } from './format.js';
import { createHandMerge } from './hand-merge.js';
import type { OriginBody, Session } from './session.js';

/** What became of the segments of all pieces. */
export interface JoinReport {
  segments: number;
  /** Came to two collectors, or twice to one. */
  duplicates: number;
  /** Came to none of these, by the numbers that are missing between the first and the last. */
  missing: number;
}

/** A segment, with what came in it. */
interface Piece {
  seq: number;
  entries: Entry[];
}

/**
 * One session of the pieces that collectors wrote of one run of a station: the segments of each hand by their numbers,
 * each once; both hands in the order of time.
 * @throws TautlineError when they are not pieces of one run
 */
export function joinSessions(sessions: readonly Session[], out: FileWriter): JoinReport {
  const origins = sessions.map(originOf);
  sessions.forEach((session, i) => {
    if (origins[i].run !== origins[0].run || session.head.epochNs !== sessions[0].head.epochNs) {
      throw new TautlineError(
        'usage',
        `${session.file.path} is of another run of the service than ${sessions[0].file.path}.`,
        'Join what has the same time and number in its name.',
      );
    }
  });
  const cut = sessions.find((session) => !hasSegments(session));
  if (cut) {
    throw new TautlineError(
      'usage',
      `${cut.file.path} is a part that was cut out: it cannot be joined any more.`,
      'Join the whole pieces first, then cut.',
    );
  }
  const first = sessions.reduce((least, session) => (session.startUs < least.startUs ? session : least));
  const hands = first.head.hands;
  const report: JoinReport = { segments: 0, duplicates: 0, missing: 0 };
  const writer = begin(out, { ...first.head, part: 1 }, first.profile);
  writer.json(undefined, 'origin', first.startUs, originOf(first));
  copy(writer, inOrderOfTime(hands.map((hand) => entriesOf(sessions, hand, report))));
  return report;
}

const hasSegments = ({ file }: Session): boolean =>
  [...file.channels.values()].some(({ topic }) => parseTopic(topic)?.channel === 'segment');

function originOf(session: Session): OriginBody {
  let origin: OriginBody | undefined;
  for (let chunk = 0; chunk < session.chunkCount && !origin; chunk++) {
    session.visitChunk(chunk, {
      origin: (_, body) => {
        origin ??= body;
      },
    });
  }
  if (origin) return origin;
  throw new TautlineError(
    'usage',
    `${session.file.path} was not recorded by a collector.`,
    'A left and a right hand go together with: tautline session merge',
  );
}

/** All of a hand, in the order of its segments. */
function* entriesOf(sessions: readonly Session[], hand: HandSide, report: JoinReport): Iterable<Entry> {
  const sources = sessions.map((session) => {
    const pieces = piecesOf(session, hand);
    const before = pieces.next().value?.entries ?? [];
    return { pieces, before, next: pieces.next() };
  });
  let last = -1;
  for (;;) {
    const [source] = sources
      .filter(({ next }) => !next.done)
      .sort((a, b) => (a.next.value as Piece).seq - (b.next.value as Piece).seq);
    if (!source) return;
    const { seq, entries } = source.next.value as Piece;
    source.next = source.pieces.next();
    // What must be known before the very first segment; the first of a run has it itself.
    if (last < 0) yield* source.before;
    if (seq <= last) {
      report.duplicates++;
      continue;
    }
    if (last >= 0) report.missing += seq - last - 1;
    last = seq;
    report.segments++;
    yield* entries;
  }
}

/** The segments of a hand in one file. What stands before the first has the number -1. */
function* piecesOf(session: Session, hand: HandSide): Generator<Piece, undefined> {
  let open: Piece = { seq: -1, entries: [] };
  let done: Piece[] = [];
  const add = (entry: Entry): void => void (entry.hand === hand && open.entries.push(entry));
  const json = (channel: HandChannel) => (of: HandSide, timeUs: number, body: object) =>
    add({ timeUs, hand: of, channel, body });
  const raw = (channel: HandChannel) => (of: HandSide, timeUs: number, bytes: Uint8Array) =>
    add({ timeUs, hand: of, channel, bytes: Uint8Array.prototype.slice.call(bytes) });
  const visitor = {
    segment(of: HandSide, timeUs: number, body: { seq: number }) {
      if (of !== hand) return;
      done.push(open);
      open = { seq: body.seq, entries: [{ timeUs, hand, channel: 'segment' as const, body }] };
    },
    received: raw('received'),
    sent: raw('sent'),
    glove: json('glove'),
    fits: json('fits'),
    status: json('status'),
    drift: json('drift'),
    request: json('request'),
    resistance: json('resistance'),
    health: json('health'),
  };
  for (let chunk = 0; chunk < session.chunkCount; chunk++) {
    session.visitChunk(chunk, visitor);
    yield* done;
    done = [];
  }
  yield open;
  return undefined;
}

function* inOrderOfTime(hands: readonly Iterable<Entry>[]): Iterable<Entry> {
  const merge = createHandMerge<Entry>(hands.length);
  const sources = hands.map((entries) => entries[Symbol.iterator]());
  const refill = (index: number): void => {
    const { done, value } = sources[index].next();
    if (!done) merge.push(index, { ...value, source: index } as Entry & { source: number });
  };
  for (let index = 0; index < sources.length; index++) refill(index);
  for (let entry = merge.any(); entry; entry = merge.any()) {
    const { source, ...plain } = entry as Entry & { source: number };
    yield plain;
    refill(source);
  }
}
