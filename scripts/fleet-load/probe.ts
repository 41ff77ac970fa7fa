/** A subscriber to all poses, and to all segments: `probe.ts URL`. How many came, how old, and which are missing. */
import mqtt from 'mqtt';
import { readSegmentHead } from '../../src/fleet/segment.js';
import { everyStation, parseTopic } from '../../src/fleet/topics.js';

const nowUs = (): number => Number(process.hrtime.bigint()) / 1000;
const client = await mqtt.connectAsync(process.argv[2], { protocolVersion: 5, reconnectPeriod: 0 });
let agesUs: number[] = [];
let segmentAgesUs: number[] = [];
let got = 0;
let missing = 0;
const last = new Map<string, number>();
client.on('message', (topic, payload) => {
  const now = nowUs();
  const kind = parseTopic(topic)?.kind;
  if (kind === 'raw') {
    const head = readSegmentHead(payload);
    if (typeof head !== 'string') segmentAgesUs.push(now - head.sentUs);
    return;
  }
  got++;
  agesUs.push(now - payload.readDoubleLE(8));
  const seq = payload.readUInt32LE(4);
  const before = last.get(topic);
  if (before !== undefined) missing += seq - before - 1;
  last.set(topic, seq);
});
await client.subscribeAsync([everyStation('joints'), everyStation('raw')], { qos: 0 });
process.on('message', async (word: 'reset' | 'end' | 'count') => {
  if (word === 'end') {
    await client.endAsync(true);
    process.exit();
  }
  if (word === 'reset') {
    agesUs = [];
    segmentAgesUs = [];
    got = 0;
    missing = 0;
    last.clear();
  }
  process.send!({ got, missing, ...percentiles(agesUs, 'pose'), ...percentiles(segmentAgesUs, 'segment') });
});
process.send!({ ready: true });

function percentiles(us: number[], name: string): Record<string, number> {
  const sorted = Float64Array.from(us).sort();
  const at = (part: number): number =>
    sorted.length === 0 ? Number.NaN : sorted[Math.floor(part * (sorted.length - 1))] / 1000;
  return { [`${name}P50Ms`]: at(0.5), [`${name}P99Ms`]: at(0.99), [`${name}MaxMs`]: at(1) };
}
