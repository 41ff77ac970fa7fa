import { COLLECTORS, isTopicName } from '../config/topic-name.js';
import { HAND_SIDES, type HandSide } from '../hand/joints.js';

/**
 * Where a station publishes what:
 *
 *   tautline/1/SITE/STATION/status            JSON, retained; the last will says that it is off line
 *   tautline/1/SITE/STATION/session           JSON, retained: what a recording of it begins with (session-start.ts)
 *   tautline/1/SITE/STATION/HAND/joints       the binary record of the stream (stream/joints-record.ts)
 *   tautline/1/SITE/STATION/HAND/inputs       JSON as on the stream, as are:
 *   tautline/1/SITE/STATION/HAND/health       retained
 *   tautline/1/SITE/STATION/HAND/resistance
 *   tautline/1/SITE/STATION/HAND/raw          what the glove sent, in segments (segment.ts)
 *
 * and collectors:
 *
 *   tautline/1/collectors/NAME/echo           to itself: how long the way through the broker is
 */
export const FLEET_VERSION = 1;
const ROOT = `tautline/${FLEET_VERSION}`;

interface KindRules {
  /** At least once, or at most. */
  qos: 0 | 1;
  retain: boolean;
  /** Of no use to anybody after so long, s; undefined: it stays. */
  expiryS: number | undefined;
  contentType: string;
  /** As the stream and the sessions call it: the user property `encoding`. */
  encoding: string;
}

const JSON_KIND = { contentType: 'application/json', encoding: 'json' } as const;
export const KINDS = {
  status: { qos: 1, retain: true, expiryS: undefined, ...JSON_KIND },
  session: { qos: 1, retain: true, expiryS: undefined, ...JSON_KIND },
  health: { qos: 1, retain: true, expiryS: 86_400, ...JSON_KIND },
  joints: {
    qos: 0,
    retain: false,
    expiryS: 1,
    contentType: 'application/octet-stream',
    encoding: 'tautline.joints',
  },
  inputs: { qos: 1, retain: false, expiryS: 10, ...JSON_KIND },
  resistance: { qos: 1, retain: false, expiryS: 10, ...JSON_KIND },
  raw: {
    qos: 1,
    retain: false,
    expiryS: 86_400,
    contentType: 'application/octet-stream',
    encoding: 'tautline.segment',
  },
} as const satisfies Record<string, KindRules>;
export type Kind = keyof typeof KINDS;

export interface Station {
  site: string;
  station: string;
}

export interface StationTopic extends Station {
  kind: Kind;
  hand: HandSide | undefined;
}

/** Topics of a whole station have no hand. */
export const topicOf = ({ site, station }: Station, kind: Kind, hand?: HandSide): string =>
  hand === undefined ? `${ROOT}/${site}/${station}/${kind}` : `${ROOT}/${site}/${station}/${hand}/${kind}`;

/** A filter for a kind of every station, or of those of a site. */
export const everyStation = (kind: Kind, site = '+'): string =>
  isOfStation(kind) ? `${ROOT}/${site}/+/${kind}` : `${ROOT}/${site}/+/+/${kind}`;

/** Each message goes to one member of the group. */
export const shared = (group: string, filter: string): string => `$share/${group}/${filter}`;

export const echoTopic = (collector: string): string => `${ROOT}/${COLLECTORS}/${collector}/echo`;

/** What a topic says; undefined for every topic that no station has. */
export function parseTopic(topic: string): StationTopic | undefined {
  if (topic.length > 200 || !topic.startsWith(`${ROOT}/`)) return undefined;
  const [site, station, ...rest] = topic.slice(ROOT.length + 1).split('/');
  if (!isTopicName(site) || site === COLLECTORS || station === undefined || !isTopicName(station))
    return undefined;
  const kind = rest.at(-1);
  if (kind === undefined || !Object.hasOwn(KINDS, kind)) return undefined;
  const known = kind as Kind;
  if (isOfStation(known))
    return rest.length === 1 ? { site, station, kind: known, hand: undefined } : undefined;
  const hand = rest[0] as HandSide;
  if (rest.length !== 2 || !HAND_SIDES.includes(hand)) return undefined;
  return { site, station, kind: known, hand };
}

const isOfStation = (kind: Kind): boolean => kind === 'status' || kind === 'session';
