import { mkdtempSync, readdirSync, readFileSync, rmSync, statSync } from 'node:fs';
import { createServer } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { parseProfile } from '../../src/config/load.js';
import { type Collector, createCollector } from '../../src/fleet/collector.js';
import { createSegmentBuilder, SEGMENT_CHANNELS } from '../../src/fleet/segment.js';
import { createSender } from '../../src/fleet/sender.js';
import { profileDigest } from '../../src/fleet/session-start.js';
import { stationLines } from '../../src/fleet/station-table.js';
import { createStationList } from '../../src/fleet/stations.js';
import { parseTopic } from '../../src/fleet/topics.js';
import { mutate } from './files.js';
import { createRandom, type Random } from './random.js';
import { createWatch, type FuzzReport, type Watch } from './watch.js';

/** What a campaign took of the disk, and what of the rest it found. */
export interface FleetReport extends FuzzReport {
  /** Most bytes of sessions on the disk, and files. */
  diskMb: number;
  files: number;
  /** Bytes that were sound and permitted: nothing else may be on the disk. */
  takenMb: number;
  /** Folders that no sound station has: must be none. */
  strangers: string[];
  /** Connections of a station to a broker that says anything. */
  connections: number;
}

const RUN = '00000000000000aa';
/** Simulated: ten thousand messages a second. */
const STEP_MS = 0.1;
const SOUND = { site: 'lab', station: 'bench-01' };
const MESSAGES_A_CONNECTION = 5000;

/** Any topic and any payload, to a collector, to the table of stations, and to a station. @param count messages */
export async function fuzzFleet(count: number, seed: number): Promise<FleetReport> {
  const folder = mkdtempSync(join(tmpdir(), 'tautline-fuzz-'));
  const random = createRandom(seed);
  const watch = createWatch();
  try {
    let nowMs = 0;
    const failures: unknown[] = [];
    const collector: Collector = createCollector({
      folder,
      name: 'c',
      nowMs: () => nowMs,
      ask: () => watch.count('asked'),
      failed: (error) => failures.push(error),
    });
    const stations = createStationList(500);
    const sound = soundMessages();
    const later: Promise<unknown>[] = [];
    for (let n = 0; n < count; n++) {
      nowMs += STEP_MS;
      const topic = anyTopic(random);
      const payload = anyPayload(random, sound, topic.startsWith('tautline/1/lab/bench-'));
      watch.run(n, () => {
        const from = parseTopic(topic);
        watch.count(from ? from.kind : 'no topic of ours');
        stations.take(topic, payload, nowMs);
        if (from?.kind === 'raw') later.push(collector.segment(from, payload));
        else if (from?.kind === 'session') later.push(collector.start(from, payload));
      });
      if (n % 2500 === 0) {
        await settled(later, watch, n);
        await collector.tick();
        watch.run(n, () => void stationLines(stations.list(), nowMs));
      }
      if (n === Math.floor(count / 10)) watch.settled();
    }
    await settled(later, watch, count);
    for (const failure of failures) watch.crash(count, failure);
    Object.assign(watch.outcomes, collector.counts.refused, {
      segments: collector.counts.segments,
      duplicates: collector.counts.duplicates,
      'statuses refused': stations.refused,
      'stations shown': stations.list().length,
    });
    await collector.close();
    const connections = Math.max(2, Math.round(count / MESSAGES_A_CONNECTION));
    await hostileBroker(connections, random, watch);
    const files = readdirSync(folder, { recursive: true, encoding: 'utf8' }).filter((name) =>
      name.endsWith('.mcap'),
    );
    const bytes = files.reduce((sum, file) => sum + statSync(join(folder, file)).size, 0);
    return {
      ...watch.report('fleet', seed, count),
      diskMb: Math.round(bytes / 1e5) / 10,
      takenMb: Math.round(collector.counts.bytes / 1e5) / 10,
      files: files.length,
      strangers: files.filter((file) => !/^lab[\\/]bench-0[12][\\/]/.test(file)),
      connections,
    };
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

async function settled(later: Promise<unknown>[], watch: Watch, n: number): Promise<void> {
  for (const each of later.splice(0)) {
    await each.catch((error) => watch.crash(n, error));
  }
}

function soundMessages(): { segment: () => Buffer; start: Buffer; status: Buffer } {
  const file = 'config/simulated.yaml';
  const profile = parseProfile(readFileSync(file, 'utf8'), file);
  const digest = profileDigest(profile);
  const builder = createSegmentBuilder('right', RUN, () => digest);
  let timeUs = 1e6;
  return {
    segment() {
      for (const channel of SEGMENT_CHANNELS) {
        timeUs += 4000;
        const isLink = channel === 'received' || channel === 'sent';
        const body = isLink
          ? Buffer.alloc(40, 7)
          : Buffer.from(JSON.stringify({ timeUs, state: 'live', memory: [] }));
        builder.add(channel, timeUs, body);
      }
      return Buffer.from(builder.take()!);
    },
    start: Buffer.from(
      JSON.stringify({
        fleet: 1,
        run: RUN,
        digest,
        program: '0',
        timeUs: 1e6,
        epochNs: '1900000000000000000',
        hands: ['right'],
        profile,
        states: { right: { status: { state: 'live' }, glove: { name: 'g' } } },
      }),
    ),
    status: Buffer.from(
      JSON.stringify({
        fleet: 1,
        online: true,
        version: '0',
        run: RUN,
        startedAt: 'x',
        publishes: ['raw'],
        gloves: [
          {
            hand: 'right',
            name: '\u001b[2J glove',
            link: 'live',
            armed: false,
            valid: true,
            rateHz: 100,
            lost: 0,
            troubles: [{ what: 'link', state: 'wrong', says: 'a\nb\u202e' }],
          },
        ],
      }),
    ),
  };
}

function anyTopic(random: Random): string {
  const kinds = [
    'status',
    'session',
    'right/raw',
    'left/raw',
    'right/joints',
    'right/health',
    'arm',
    '',
    'right',
    '/',
  ];
  if (random.oneIn(2)) return `tautline/1/lab/bench-0${1 + random.below(2)}/${random.pick(kinds)}`;
  if (random.oneIn(3)) return random.bytes(random.below(60)).toString('latin1');
  const levels = [
    'lab',
    '..',
    '.',
    '+',
    '#',
    '$share',
    'collectors',
    'a b',
    '__proto__',
    'constructor',
    `s${random.below(5000)}`,
  ];
  return `tautline/${random.oneIn(9) ? '2' : '1'}/${random.pick(levels)}/${random.pick(levels)}/${random.pick(kinds)}`;
}

/** @param starts whether a sound start may be among them */
function anyPayload(random: Random, sound: ReturnType<typeof soundMessages>, starts: boolean): Buffer {
  const kind = random.below(20);
  if (kind === 0) return sound.segment();
  if (kind === 1) return starts && random.oneIn(20) ? sound.start : Buffer.from('{}');
  if (kind === 2) return sound.status;
  if (kind < 8) return mutate(sound.segment(), random.below);
  if (kind < 11) return mutate(sound.status, random.below);
  if (kind === 11) return starts && random.oneIn(20) ? mutate(sound.start, random.below) : sound.status;
  if (kind === 12) return Buffer.from('[['.repeat(random.below(2000)));
  return random.bytes(random.below(kind === 13 ? 20_000 : 200));
}

/** A broker that lets a station in and then says anything. The station must come back each time, and never end. */
async function hostileBroker(connections: number, random: Random, watch: Watch): Promise<void> {
  let served = 0;
  let done = (): void => {};
  const all = new Promise<void>((resolve) => {
    done = resolve;
  });
  const server = createServer((socket) => {
    socket.on('error', () => {});
    socket.once('data', () => {
      // CONNACK, mostly a sound one: MQTT 5, section 3.2.
      if (!random.oneIn(10)) socket.write(Buffer.from([0x20, 3, 0, 0, 0]));
      const topic = Buffer.from('tautline/1/lab/bench-01/arm');
      const publish = Buffer.concat([
        Buffer.from([0x30, topic.length + 6, 0, topic.length]),
        topic,
        Buffer.from([0, 1, 2, 3]),
      ]);
      for (let i = random.below(20); i > 0; i--) {
        socket.write(random.oneIn(2) ? mutate(publish, random.below) : random.bytes(random.below(300)));
      }
      setTimeout(() => socket.destroy(), random.below(20));
    });
    if (++served >= connections) done();
  });
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
  const { port } = server.address() as { port: number };
  const sender = createSender({
    station: SOUND,
    broker: { url: `mqtt://127.0.0.1:${port}`, clientId: 'fuzzed', firstRetryMs: 1, maxRetryMs: 1 },
    limits: { maxBytes: 1e6, maxRawMs: 60_000 },
    nowUs: () => performance.now() * 1000,
    ntp: () => 'unknown',
    opened: () => watch.count('connections open'),
    closed: () => watch.count('connections closed'),
  });
  const timer = setInterval(() => {
    sender.publish('joints', 'right', new Uint8Array(852));
    sender.publish('raw', 'right', new Uint8Array(3000));
  }, 2);
  const fault = (error: unknown): void => watch.crash(served, error);
  process.on('uncaughtException', fault);
  process.on('unhandledRejection', fault);
  await all;
  clearInterval(timer);
  await sender.end(Buffer.from('{}'));
  server.close();
  process.off('uncaughtException', fault);
  process.off('unhandledRejection', fault);
}
