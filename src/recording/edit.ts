import { TautlineError } from '../errors.js';
import type { HandSide } from '../hand/joints.js';
import type { FileWriter } from './file-writer.js';
import type { HandChannel, SessionChannel } from './format.js';
import { createOfflineHands, type OfflineHands } from './offline.js';
import { redactFrames } from './redact-frames.js';
import type { FitsBody, RequestBody, Session, SessionHead, SessionVisitor } from './session.js';
import { createSessionWriter, type SessionWriter } from './session-writer.js';

/** Makes new sessions from old ones: cut, merged, or without names. The old ones are not changed. */

/** One recorded message, copied from its chunk. */
export interface Entry {
  timeUs: number;
  hand: HandSide | undefined;
  channel: HandChannel | SessionChannel;
  bytes?: Uint8Array;
  body?: object;
}

const CHUNK_US = 500_000;
/** Of a `tracker` that does not say. */
const TRACKER_TTL_MS = 1000;

/** @throws TautlineError when there is nothing between the times, seconds from the start */
export function cutSession(
  session: Session,
  out: FileWriter,
  { fromS, toS }: { fromS: number; toS: number },
): void {
  const fromUs = session.startUs + fromS * 1e6;
  const toUs = Math.min(session.endUs, session.startUs + toS * 1e6);
  if (!(fromUs < toUs)) {
    throw new TautlineError(
      'usage',
      `${session.file.path} has ${((session.endUs - session.startUs) / 1e6).toFixed(2)} s: there is nothing between these times.`,
    );
  }
  const writer = begin(out, headAt(session, fromUs, session.hands), session.profile);
  writeStation(writer, session, fromUs);
  writeStates(writer, session, fromUs);
  copy(writer, entries(session, fromUs, true), toUs);
}

/**
 * Both hands in one session, on the first one's clock.
 * @param shiftS seconds by which the second is moved; by the time of day when undefined
 */
export function mergeSessions(first: Session, second: Session, out: FileWriter, shiftS?: number): void {
  const both = first.hands.filter((hand) => second.hands.includes(hand));
  if (both.length > 0) {
    throw new TautlineError(
      'usage',
      `Both sessions have a ${both[0]} hand.`,
      'Merge a left one with a right one.',
    );
  }
  const shiftUs =
    shiftS === undefined
      ? Math.round(Number(BigInt(second.head.epochNs) - BigInt(first.head.epochNs)) / 1000)
      : first.startUs - second.startUs + Math.round(shiftS * 1e6);
  const apart = second.startUs + shiftUs > first.endUs || second.endUs + shiftUs < first.startUs;
  if (apart) {
    throw new TautlineError(
      'usage',
      'The sessions were not recorded at the same time.',
      'Move the second with --shift SECONDS from the start of the first.',
    );
  }
  const gloves = [
    ...first.profile.gloves.filter(({ hand }) => first.hands.includes(hand)),
    ...second.profile.gloves.filter(({ hand }) => second.hands.includes(hand)),
  ];
  const startUs = Math.min(first.startUs, second.startUs + shiftUs);
  const head = {
    ...headAt(first, startUs, [...first.hands, ...second.hands]),
    joints: first.head.joints || second.head.joints,
  };
  const writer = begin(out, head, { ...first.profile, gloves });
  copy(writer, inOrder(entries(first), shifted(entries(second), shiftUs)), Number.POSITIVE_INFINITY);
}

/**
 * Removes what identifies people and devices: device ids, also inside the link's bytes; names of people, gloves and
 * ports; notes of the glove and of people. The motion stays, and may itself identify somebody.
 */
export function anonymiseSession(session: Session, out: FileWriter): void {
  const { profile } = session;
  const gloves = profile.gloves.map((glove) => ({
    ...glove,
    name: `${glove.hand} glove`,
    link:
      glove.link.kind === 'serial'
        ? { ...glove.link, path: undefined, usb: undefined }
        : glove.link.kind === 'ble'
          ? { ...glove.link, name: undefined, address: undefined }
          : glove.link,
  }));
  const wearer = { ...profile.wearer, name: undefined };
  const writer = begin(out, session.head, { ...profile, name: 'anonymous', gloves, wearer });
  const apps = new Map<string, string>();
  const appName = (app: string): string => {
    let name = apps.get(app);
    if (name === undefined) {
      name = `app${apps.size + 1}`;
      apps.set(app, name);
    }
    return name;
  };
  const blank = new Map(
    gloves.filter(({ codec }) => codec.kind === 'frames').map(({ hand }) => [hand, redactFrames<Entry>()]),
  );
  const clean = function* (from: Iterable<Entry>): Iterable<Entry> {
    for (const entry of from) {
      const { channel, hand } = entry;
      if (channel === 'mark') continue;
      const frames = hand && blank.get(hand);
      const cleaned = entry.body
        ? { ...entry, body: withoutNames(channel, entry.body, `${hand} glove`, appName) }
        : entry;
      if (!frames) yield cleaned;
      else if (channel === 'received') yield* frames.push(entry, entry.bytes!);
      else yield* frames.pass(cleaned);
    }
    for (const rest of blank.values()) yield* rest.flush();
  };
  copy(writer, clean(entries(session)), Number.POSITIVE_INFINITY);
}

function withoutNames(
  channel: Entry['channel'],
  body: object,
  glove: string,
  appName: (app: string) => string,
): object {
  // biome-ignore lint/suspicious/noExplicitAny: bodies of six kinds, of which a few keys are touched
  const { ...copy } = body as any;
  if (channel === 'glove') {
    copy.name = glove;
    if (copy.deviceId !== undefined) copy.deviceId = '0'.repeat(16);
  } else if (channel === 'status') {
    copy.address = glove;
    if (copy.state !== 'silent') delete copy.reason;
  } else if (channel === 'health') {
    copy.link = { state: copy.link?.state, address: glove };
  } else if (channel === 'fits') {
    const { fits } = copy as FitsBody;
    // The day is enough to tell which fit came first.
    copy.fits = fits.map((fit) => ({ ...fit, person: 'wearer', glove, savedAt: fit.savedAt.slice(0, 10) }));
  } else if (channel === 'request') {
    copy.app = appName(copy.app);
  } else if (channel === 'resistance') {
    copy.fingers = Object.fromEntries(
      Object.entries<{ by?: string }>(copy.fingers ?? {}).map(([finger, held]) => [
        finger,
        held.by === undefined ? held : { ...held, by: appName(held.by) },
      ]),
    );
  }
  return copy;
}

export function begin(out: FileWriter, head: SessionHead, profile: object): SessionWriter {
  const writer = createSessionWriter(out.bytes, head);
  writer.json(undefined, 'profile', head.timeUs, profile);
  return writer;
}

function headAt(session: Session, timeUs: number, hands: readonly HandSide[]): SessionHead {
  const ns = BigInt(session.head.epochNs) + BigInt(Math.round(timeUs * 1000));
  return {
    ...session.head,
    timeUs,
    startedAt: new Date(Number(ns / 1_000_000n)).toISOString(),
    part: 1,
    hands: [...hands],
  };
}

/** Where it comes from, and how its station's clock stood. */
function writeStation(writer: SessionWriter, session: Session, atUs: number): void {
  const { origin, clock } = session.stationAt(atUs);
  if (origin) writer.json(undefined, 'origin', atUs, origin);
  if (clock) writer.json(undefined, 'clock', atUs, { ...clock, timeUs: atUs });
}

/** What must be known in order to understand what follows. */
function writeStates(writer: SessionWriter, session: Session, atUs: number): void {
  const { hands, rememberDrift, trackers } = handsAt(session, atUs);
  for (const hand of hands) {
    const { glove, fits, status } = session.stateAt(hand, atUs);
    if (fits) writer.json(hand, 'fits', atUs, { ...fits, timeUs: atUs });
    if (glove) writer.json(hand, 'glove', atUs, { ...glove, timeUs: atUs });
    if (!status) continue;
    writer.json(hand, 'drift', atUs, { timeUs: atUs, memory: rememberDrift(hand) });
    const live = status.state === 'live' || status.state === 'silent';
    writer.json(hand, 'status', atUs, {
      ...status,
      timeUs: atUs,
      ...(live ? { state: 'live', reason: undefined, joinedLate: true, drift: rememberDrift(hand) } : {}),
    });
  }
  for (const [hand, body] of trackers) {
    const { request, timeUs } = body;
    const leftMs = Math.floor(
      ((request.ttlMs as number | undefined) ?? TRACKER_TTL_MS) - (atUs - timeUs) / 1000,
    );
    if (leftMs < 1) continue;
    const since = { ...request, timeUs: request.timeUs ?? timeUs, ttlMs: leftMs };
    writer.json(hand, 'request', atUs, { ...body, timeUs: atUs, request: since });
  }
}

/**
 * The hands as they were by a time: what they followed of slow shifts, only the way there tells. And the newest word of
 * each app on where each is.
 */
function handsAt(
  session: Session,
  atUs: number,
): OfflineHands & { trackers: Iterable<[HandSide, RequestBody]> } {
  const trackers = new Map<string, [HandSide, RequestBody]>();
  const hands = createOfflineHands(session, () => {});
  const { glove, fits, status, request, received, sent } = hands.visitor;
  const before =
    <Body>(visit: ((hand: HandSide, timeUs: number, body: Body) => void) | undefined) =>
    (hand: HandSide, timeUs: number, body: Body): void => {
      if (timeUs < atUs) visit?.(hand, timeUs, body);
    };
  const visitor: SessionVisitor = {
    glove: before(glove),
    fits: before(fits),
    status: before(status),
    request: before<RequestBody>((hand, timeUs, body) => {
      if (body.request.type === 'tracker' && !body.refusal) trackers.set(`${hand} ${body.app}`, [hand, body]);
      request?.(hand, timeUs, body);
    }),
    received: before(received),
    sent: before(sent),
  };
  for (let chunk = 0; chunk < session.chunkCount; chunk++) {
    session.visitChunk(chunk, visitor);
    if (session.chunkEndUs(chunk) >= atUs) break;
  }
  return { ...hands, trackers: trackers.values() };
}

export function copy(writer: SessionWriter, from: Iterable<Entry>, toUs = Number.POSITIVE_INFINITY): void {
  let flushUs = Number.NEGATIVE_INFINITY;
  for (const { timeUs, hand, channel, bytes, body } of from) {
    if (timeUs > toUs) continue;
    if (timeUs - flushUs >= CHUNK_US) {
      writer.flush();
      flushUs = timeUs;
    }
    if (channel === 'joints') writer.joints(hand!, timeUs, bytes!);
    else if (bytes) writer.link(hand!, channel as 'received' | 'sent', timeUs, bytes);
    else if (hand) writer.json(hand, channel as HandChannel, timeUs, body!);
    else writer.json(undefined, channel as SessionChannel, timeUs, body!);
  }
  writer.end();
}

/**
 * Everything but the head and the profile, in order, a chunk at a time in memory.
 * @param clocks with how the clock of its station went, too
 */
function* entries(session: Session, fromUs = Number.NEGATIVE_INFINITY, clocks = false): Iterable<Entry> {
  const first = fromUs > session.startUs ? session.chunkAt(fromUs) : 0;
  let found: Entry[] = [];
  const json = (channel: Entry['channel']) => (hand: HandSide | undefined, timeUs: number, body: object) =>
    void found.push({ timeUs, hand, channel, body });
  const raw = (channel: Entry['channel']) => (hand: HandSide, timeUs: number, bytes: Uint8Array) =>
    void found.push({ timeUs, hand, channel, bytes: Uint8Array.prototype.slice.call(bytes) });
  const visitor = {
    received: raw('received'),
    sent: raw('sent'),
    joints: raw('joints'),
    glove: json('glove'),
    fits: json('fits'),
    status: json('status'),
    drift: json('drift'),
    request: json('request'),
    resistance: json('resistance'),
    health: json('health'),
    mark: (timeUs: number, body: object) => json('mark')(undefined, timeUs, body),
    ...(clocks ? { clock: (timeUs: number, body: object) => json('clock')(undefined, timeUs, body) } : {}),
  };
  for (let chunk = first; chunk < session.chunkCount; chunk++) {
    session.visitChunk(chunk, visitor);
    for (const entry of found) if (entry.timeUs >= fromUs) yield entry;
    found = [];
  }
}

function* shifted(from: Iterable<Entry>, byUs: number): Iterable<Entry> {
  for (const entry of from) {
    const { timeUs, body } = entry;
    yield { ...entry, timeUs: timeUs + byUs, ...(body ? { body: shiftBody(body, byUs) } : {}) };
  }
}

function shiftBody(body: object, byUs: number): object {
  const shift = <T extends object>(of: T): T =>
    'timeUs' in of && typeof of.timeUs === 'number' ? { ...of, timeUs: of.timeUs + byUs } : of;
  const moved = shift(body);
  return 'events' in moved && Array.isArray(moved.events)
    ? { ...moved, events: moved.events.map(shift) }
    : moved;
}

/** Two streams by time; each keeps its own order. */
function* inOrder(a: Iterable<Entry>, b: Iterable<Entry>): Iterable<Entry> {
  const left = a[Symbol.iterator]();
  const right = b[Symbol.iterator]();
  let nextLeft = left.next();
  let nextRight = right.next();
  while (!nextLeft.done || !nextRight.done) {
    const takeLeft = !nextLeft.done && (nextRight.done || nextLeft.value.timeUs <= nextRight.value.timeUs);
    if (takeLeft) {
      yield nextLeft.value!;
      nextLeft = left.next();
    } else {
      yield nextRight.value!;
      nextRight = right.next();
    }
  }
}
