import type { HandSide } from '../hand/joints.js';
import type { LinkCounters, Samples } from '../link/codec.js';
import { codecOf } from '../link/codec-of.js';
import type { GloveBody, Session } from './session.js';

/** What is in a session, for people and programs. Times in seconds from its start. */
export interface SessionInfo {
  file: string;
  bytes: number;
  startedAt: string;
  durationS: number;
  program: string;
  part: number;
  /** Ended properly; if not, up to a second before its end is missing. */
  complete: boolean;
  damage: { chunks: number; bytes: number; messages: number };
  profile: string;
  wearer: string | undefined;
  /** Of a session that came through a broker. */
  collected?: CollectedInfo;
  hands: HandInfo[];
  marks: { atS: number; text: string }[];
  /** Requests of each app by type. */
  requests: { app: string; type: string; count: number; refused: number }[];
}

export interface CollectedInfo {
  site: string;
  station: string;
  collector: string;
  /** To be added to its times for those of the collector's clock, as last measured; absent: never measured. */
  clock?: { offsetMs: number; errorMs?: number; ntp: string };
}

export interface HandInfo {
  hand: HandSide;
  name: string;
  deviceId: string | undefined;
  firmwareVersion: number | undefined;
  /** As promised by the glove, and as counted. */
  sampleRateHz: number;
  measuredHz: number;
  samples: number;
  /** Counters of the link's frames or lines. */
  lost: number;
  badCrc: number;
  /** Times without a sample of more than MIN_GAP_S, longest first. */
  gaps: { atS: number; seconds: number }[];
  gapCount: number;
  /** Faults that were reported, each once. */
  faults: { atS: number; role: string; verdict: string; evidence: string }[];
  /** States of the link. */
  links: { atS: number; state: string; reason: string | undefined }[];
  /** Recorded poses. */
  joints: number;
  /** How often a finger was held. */
  holds: number;
}

/** Longer than any batch of a radio. */
const MIN_GAP_S = 0.1;
const MOST = 20;

/** Reads the whole session once. */
export function describeSession(session: Session): SessionInfo {
  const { startUs, profile, head, file } = session;
  const at = (timeUs: number): number => (timeUs - startUs) / 1e6;
  const hands = new Map<HandSide, ReturnType<typeof createHandInfo>>();
  const handOf = (hand: HandSide) => {
    let found = hands.get(hand);
    if (!found) {
      found = createHandInfo(hand, session, at);
      hands.set(hand, found);
    }
    return found;
  };
  const marks: SessionInfo['marks'] = [];
  const requests = new Map<string, SessionInfo['requests'][number]>();
  let collected: CollectedInfo | undefined;
  for (const hand of session.hands) handOf(hand);
  session.visit({
    origin(_, { site, station, collector }) {
      collected ??= { site, station, collector };
    },
    clock(_, { offsetUs, errorUs, ntp }) {
      const errorMs = errorUs === undefined ? {} : { errorMs: errorUs / 1000 };
      if (collected) collected.clock = { offsetMs: offsetUs / 1000, ...errorMs, ntp };
    },
    glove: (hand, _, body) => handOf(hand).glove(body),
    received: (hand, timeUs, bytes) => handOf(hand).received(timeUs, bytes),
    status: (hand, timeUs, body) => handOf(hand).status(timeUs, body.state, body.reason),
    health(hand, timeUs, body) {
      for (const { role, verdict, evidence } of body.channels ?? []) {
        if (verdict !== 'healthy') handOf(hand).fault(timeUs, role, verdict, evidence ?? '');
      }
      for (const fault of body.faults ?? []) handOf(hand).fault(timeUs, 'glove', fault, '');
    },
    resistance(hand, _, body) {
      const held = Object.values(body.fingers ?? {}).filter((finger) => finger?.stopAt !== undefined).length;
      handOf(hand).held(held);
    },
    joints: (hand) => void handOf(hand).info.joints++,
    mark: (timeUs, { text }) => void marks.push({ atS: at(timeUs), text }),
    request(_, __, { app, request, refusal }) {
      const key = `${app} ${request.type}`;
      const entry = requests.get(key) ?? { app, type: request.type, count: 0, refused: 0 };
      entry.count++;
      if (refusal) entry.refused++;
      requests.set(key, entry);
    },
  });
  return {
    file: file.path,
    bytes: file.size,
    startedAt: head.startedAt,
    durationS: at(session.endUs),
    program: head.program,
    part: head.part,
    complete: file.complete,
    damage: { ...session.damage },
    profile: profile.name,
    wearer: profile.wearer.name,
    ...(collected ? { collected } : {}),
    hands: [...hands.values()].map((hand) => hand.end()),
    marks,
    requests: [...requests.values()],
  };
}

function createHandInfo(hand: HandSide, session: Session, at: (timeUs: number) => number) {
  const glove = session.profile.gloves.find((one) => one.hand === hand);
  const info: HandInfo = {
    hand,
    name: glove?.name ?? '',
    deviceId: undefined,
    firmwareVersion: undefined,
    sampleRateHz: 0,
    measuredHz: 0,
    samples: 0,
    lost: 0,
    badCrc: 0,
    gaps: [],
    gapCount: 0,
    faults: [],
    links: [],
    joints: 0,
    holds: 0,
  };
  const told = new Set<string>();
  let firstUs = Number.NaN;
  let lastUs = Number.NaN;
  let heldBefore = 0;
  let nowUs = 0;
  const sample = (_: Samples): void => {
    info.samples++;
    if (Number.isNaN(firstUs)) firstUs = nowUs;
    const sinceS = (nowUs - lastUs) / 1e6;
    if (sinceS > MIN_GAP_S) {
      info.gapCount++;
      info.gaps.push({ atS: at(lastUs), seconds: sinceS });
      info.gaps.sort((a, b) => b.seconds - a.seconds);
      info.gaps.length = Math.min(info.gaps.length, MOST);
    }
    lastUs = nowUs;
  };
  const codec =
    glove &&
    codecOf(glove)({ hello() {}, samples: sample, state() {}, pong() {}, note() {} } satisfies Parameters<
      ReturnType<typeof codecOf>
    >[0]);
  return {
    info,
    glove(body: GloveBody) {
      info.name = body.name;
      info.deviceId = body.deviceId;
      info.firmwareVersion = body.firmwareVersion;
      if (body.sampleRateHz > 0) info.sampleRateHz = body.sampleRateHz;
    },
    received(timeUs: number, bytes: Uint8Array) {
      nowUs = timeUs;
      codec?.push(bytes, timeUs);
    },
    status(timeUs: number, state: string, reason: string | undefined) {
      if (state === 'live') codec?.reset();
      if (info.links.length < MOST) info.links.push({ atS: at(timeUs), state, reason });
    },
    fault(timeUs: number, role: string, verdict: string, evidence: string) {
      const key = `${role} ${verdict}`;
      if (told.has(key)) return;
      told.add(key);
      info.faults.push({ atS: at(timeUs), role, verdict, evidence });
    },
    held(fingers: number) {
      if (fingers > 0 && heldBefore === 0) info.holds++;
      heldBefore = fingers;
    },
    end(): HandInfo {
      const counters: LinkCounters | undefined = codec?.counters;
      info.lost = counters?.lost ?? 0;
      info.badCrc = (counters?.badCrc ?? 0) + (counters?.malformed ?? 0);
      const activeS = (lastUs - firstUs) / 1e6;
      info.measuredHz = activeS > 0 ? (info.samples - 1) / activeS : 0;
      return info;
    },
  };
}
