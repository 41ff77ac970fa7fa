import { FINGERS, type HandSide } from '../hand/joints.js';
import { curlOf, isHeld, stopOf } from './finger-state.js';
import type { Live, LiveHand } from './live.js';
import { createTraceTable, type TraceTable } from './trace-table.js';

/** How far back, and how many rows a second at most. */
export const KEPT_S = 60;
const RATE_HZ = 60;

/** The last minute of one hand. Columns: counts and values by channel, then by finger, then of the link. */
export interface HandRecord {
  table: TraceTable;
  roles: readonly string[];
}

/** Where what is found in a row, with so many channels. */
export const COLUMN = {
  counts: (channel: number) => channel,
  value: (channels: number, channel: number) => channels + channel,
  curl: (channels: number, finger: number) => 2 * channels + finger,
  stop: (channels: number, finger: number) => 2 * channels + FINGERS.length + finger,
  tension: (channels: number, finger: number) => 2 * channels + 2 * FINGERS.length + finger,
  link: (channels: number, fact: number) => 2 * channels + 3 * FINGERS.length + fact,
} as const;
/** Of the link, in the order of their columns. */
const LINK_FACTS = ['delayMs', 'jitterMs', 'roundTripMs', 'rateHz'] as const;

/** Keeps the last minute of every hand, whatever part is shown. */
export function createRecords(live: Live): ReadonlyMap<HandSide, HandRecord> {
  const records = new Map<HandSide, HandRecord>();
  live.client.on('signals', ({ hand: side, timeUs, counts, values }) => {
    const hand = live.hands.get(side);
    const channels = hand?.health?.channels;
    if (!hand || channels?.length !== counts.length) return;
    let record = records.get(side);
    if (
      record?.roles.length !== channels.length ||
      record.roles.some((role, i) => role !== channels[i].role)
    ) {
      const columns = COLUMN.link(channels.length, LINK_FACTS.length);
      record = {
        table: createTraceTable(columns, KEPT_S * RATE_HZ),
        roles: channels.map(({ role }) => role),
      };
      records.set(side, record);
    }
    record.table.add(
      timeUs / 1e6,
      rowOf(hand, counts, values, ((live.client.serviceTimeUs() ?? Number.NaN) - timeUs) / 1000),
    );
  });
  return records;
}

const row: number[] = [];
/** @param delayMs since the sample was taken, as far as the clocks of service and page agree */
function rowOf(
  hand: LiveHand,
  counts: readonly number[],
  values: readonly number[],
  delayMs: number,
): readonly number[] {
  const { health, resistance } = hand;
  row.length = 0;
  // The service may have more values than channels: what it works out itself comes after them.
  row.push(...counts, ...values.slice(0, counts.length));
  for (let f = 0; f < FINGERS.length; f++) row.push(curlOf(hand, f) ?? Number.NaN);
  for (let f = 0; f < FINGERS.length; f++) row.push(stopOf(hand, f) ?? Number.NaN);
  for (let f = 0; f < FINGERS.length; f++)
    row.push(isHeld(hand, f) ? (resistance?.fingers[FINGERS[f]]?.tensionN ?? 0) : 0);
  row.push(
    delayMs,
    (health?.clock?.jitterUs ?? Number.NaN) / 1000,
    (health?.clock?.roundTripUs ?? Number.NaN) / 1000,
    health?.rateHz ?? Number.NaN,
  );
  return row;
}
