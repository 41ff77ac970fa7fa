/** A process of many stations: `stations.ts URL FIRST COUNT RATE_HZ`. Each publishes two hands as a service does. */
import { readFileSync } from 'node:fs';
import { parseProfile } from '../../src/config/load.js';
import { createSegmentBuilder } from '../../src/fleet/segment.js';
import { createSender } from '../../src/fleet/sender.js';
import { profileDigest } from '../../src/fleet/session-start.js';
import { HAND_SIDES } from '../../src/hand/joints.js';
import { readRecords } from './records.js';

const [url, firstText, countText, rateText] = process.argv.slice(2);
const first = Number(firstText);
const count = Number(countText);
const rateHz = Number(rateText);
const { poses, quarters } = readRecords();
const file = 'config/simulated.yaml';
const profile = parseProfile(readFileSync(file, 'utf8'), file);
const digest = profileDigest(profile);
/** One clock for all processes of this machine. */
const nowUs = (): number => Number(process.hrtime.bigint()) / 1000;
const epochNs = BigInt(Math.round(Date.now() * 1e6 - nowUs() * 1000));

let given = 0;
let segments = 0;
const stations = Array.from({ length: count }, (_, i) => {
  const name = `s${String(first + i).padStart(4, '0')}`;
  const run = (first + i).toString(16).padStart(16, '0');
  const sender = createSender({
    station: { site: 'load', station: name },
    broker: { url, clientId: `load-${name}` },
    limits: { maxBytes: 16e6, maxRawMs: 60_000 },
    nowUs,
    ntp: () => 'unknown',
    closed: ({ line }) => process.send!({ trouble: line }),
  });
  const start = {
    fleet: 1,
    run,
    digest,
    program: '0',
    timeUs: nowUs(),
    epochNs: String(epochNs),
    hands: HAND_SIDES,
  };
  sender.publish('session', undefined, Buffer.from(JSON.stringify({ ...start, profile, states: {} })));
  return {
    sender,
    hands: HAND_SIDES.map((hand) => ({
      hand,
      seq: 0,
      builder: createSegmentBuilder(hand, run, () => digest),
    })),
    /** Not all in the same moment. */
    dueUs: nowUs() + (i / count) * (1e6 / rateHz),
    quarterUs: nowUs() + (i / count) * 250_000,
    turn: i,
  };
});

let going = false;
setInterval(() => {
  const now = nowUs();
  for (const station of stations) {
    while (station.dueUs <= now) {
      station.dueUs += 1e6 / rateHz;
      if (!going) continue;
      for (const each of station.hands) {
        const record = poses[(station.turn + each.seq) % poses.length].slice();
        const view = new DataView(record.buffer);
        view.setUint8(1, each.hand === 'left' ? 0 : 1);
        view.setUint32(4, each.seq++, true);
        // The sample is taken now.
        view.setFloat64(8, nowUs(), true);
        station.sender.publish('joints', each.hand, record);
        given++;
      }
    }
    if (station.quarterUs > now) continue;
    station.quarterUs += 250_000;
    if (!going) continue;
    const pieces = quarters[station.turn++ % quarters.length];
    for (const { hand, builder } of station.hands) {
      for (const [n, bytes] of pieces.entries())
        builder.add('received', now - 250_000 + (250_000 * n) / pieces.length, bytes);
      station.sender.publish('raw', hand, builder.take()!);
      segments++;
    }
  }
}, 2);

process.on('message', async (word: 'go' | 'stop' | 'end' | 'count') => {
  if (word === 'go') going = true;
  if (word === 'stop') going = false;
  if (word === 'end') {
    await Promise.all(stations.map(({ sender }) => sender.end(Buffer.from('{}'))));
    process.exit();
  }
  const counts = stations.map(({ sender }) => sender.counts());
  process.send!({
    ready: counts.every(({ connected }) => connected),
    given,
    segments,
    dropped: counts.reduce((sum, { dropped }) => sum + dropped.poses + dropped.raw, 0),
    waiting: counts.reduce((sum, { waitingBytes }) => sum + waitingBytes, 0),
    rssMb: process.memoryUsage().rss / 1e6,
  });
});
