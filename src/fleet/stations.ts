import { type BrokerAddress, type BrokerEvents, keepConnected } from './broker.js';
import { parseStatus, type StationStatus } from './status.js';
import { everyStation, parseTopic, type Station } from './topics.js';

/** Who is on: the newest status of every station, as the broker gives it. */

export interface SeenStation extends Station {
  status: StationStatus;
  /** When it came, ms since 1970; of a retained one only that it was there by then. */
  heardMs: number;
}

export interface StationList {
  take(topic: string, payload: Uint8Array, nowMs: number): void;
  /** By site and name. */
  list(): SeenStation[];
  /** Statuses that were none, and stations beyond the limit. */
  readonly refused: number;
}

/** Of 10,000 stations, with 1 kB each. */
const MOST_STATIONS = 20_000;

export function createStationList(mostStations = MOST_STATIONS): StationList {
  const stations = new Map<string, SeenStation>();
  let refused = 0;
  return {
    get refused() {
      return refused;
    },
    take(topic, payload, nowMs) {
      const from = parseTopic(topic);
      if (from?.kind !== 'status') return;
      const key = `${from.site}/${from.station}`;
      // How a retained message is taken away.
      if (payload.length === 0) {
        stations.delete(key);
        return;
      }
      const status = parseStatus(payload);
      if (!status || (!stations.has(key) && stations.size >= mostStations)) {
        refused++;
        return;
      }
      stations.set(key, { site: from.site, station: from.station, status, heardMs: nowMs });
    },
    list: () =>
      [...stations.values()].sort((a, b) => compare(a.site, b.site) || compare(a.station, b.station)),
  };
}

const compare = (a: string, b: string): number => (a < b ? -1 : a > b ? 1 : 0);

export interface WatchStationsOptions extends Pick<BrokerEvents, 'closed'> {
  broker: BrokerAddress;
  site?: string;
  clientId: string;
  opened?(): void;
}

const MAX_PACKET_BYTES = 64 * 1024;

/** Follows the stations until it is closed. */
export function watchStations(options: WatchStationsOptions): {
  list: StationList;
  close(): Promise<void>;
} {
  const list = createStationList();
  const broker = keepConnected(
    { ...options.broker, clientId: options.clientId, maxPacketBytes: MAX_PACKET_BYTES },
    {
      open(client) {
        client.subscribe(everyStation('status', options.site), { qos: 1 }, () => options.opened?.());
      },
      closed: options.closed,
      message: (topic, payload) => list.take(topic, payload, Date.now()),
    },
  );
  return { list, close: broker.close };
}
