import { createServer, type Socket } from 'node:net';
import { join } from 'node:path';
import mqtt, { type IPublishPacket, type MqttClient } from 'mqtt';
import { afterEach, describe, expect, test } from 'vitest';
import type { TautlineError } from '../../src/errors.js';
import { type Broker, keepConnected } from '../../src/fleet/broker.js';
import { createSegmentBuilder, readSegmentHead } from '../../src/fleet/segment.js';
import { createSender, type Sender } from '../../src/fleet/sender.js';
import { startBroker, stopAllBrokers, type TestBroker } from './mosquitto.js';

/* What a station publishes, against the real broker. */

const STATION = { site: 'lab', station: 'bench-01' };
const LIMITS = { maxBytes: 1e6, maxRawMs: 60_000 };
const ends: (() => unknown)[] = [];
afterEach(async () => {
  for (const end of ends.splice(0).reverse()) await end();
  await stopAllBrokers();
});

interface Watched {
  sender: Sender;
  closed: TautlineError[];
  opened(times: number): Promise<void>;
}

function send(broker: Pick<TestBroker, 'url'>, more: object = {}, limits = LIMITS): Watched {
  const closed: TautlineError[] = [];
  let opens = 0;
  const sender = createSender({
    station: STATION,
    broker: {
      url: broker.url,
      clientId: 'tautline-lab-bench-01',
      will: { topic: 'tautline/1/lab/bench-01/status', payload: Buffer.from('{"online":false}') },
      firstRetryMs: 50,
      maxRetryMs: 100,
      ...more,
    },
    limits,
    nowUs: () => performance.now() * 1000,
    ntp: () => 'free',
    opened: () => void opens++,
    closed: (why) => closed.push(why),
  });
  ends.push(() => sender.end(Buffer.from('{}')));
  return {
    sender,
    closed,
    opened: (times) => until(() => opens >= times),
  };
}

interface Message {
  topic: string;
  payload: Buffer;
  packet: IPublishPacket;
}

async function listen(broker: TestBroker, topic = '#'): Promise<{ client: MqttClient; got: Message[] }> {
  const client = await mqtt.connectAsync(broker.url, { protocolVersion: 5, reconnectPeriod: 50 });
  ends.push(() => client.endAsync(true));
  const got: Message[] = [];
  client.on('message', (at, payload, packet) => got.push({ topic: at, payload, packet }));
  await client.subscribeAsync(topic, { qos: 1 });
  return { client, got };
}

async function until(holds: () => boolean, ms = 10_000): Promise<void> {
  const endMs = performance.now() + ms;
  while (!holds()) {
    if (performance.now() > endMs) throw new Error('it does not come');
    await new Promise((resolve) => setTimeout(resolve, 10));
  }
}

const segments = createSegmentBuilder('right', '00000000000000aa', () => '00000000000000bb');
function segment(bytes = 200): Uint8Array {
  segments.add('received', 1000, new Uint8Array(bytes));
  return segments.take()!;
}

describe('on the wire', () => {
  test('each kind has its topic, its quality, and says what it is', async () => {
    const broker = await startBroker();
    const { got } = await listen(broker);
    const { sender, opened } = send(broker);
    await opened(1);
    sender.publish('status', undefined, Buffer.from('{"online":true}'));
    for (let n = 0; n < 3; n++) {
      sender.publish('joints', 'right', new Uint8Array(852).fill(n));
      sender.publish('raw', 'right', segment());
      sender.publish('inputs', 'right', Buffer.from(`{"n":${n}}`));
    }
    await until(() => got.length === 10);
    const of = (kind: string) => got.filter(({ topic }) => topic.endsWith(`/${kind}`));
    expect(of('status')[0].topic).toBe('tautline/1/lab/bench-01/status');
    expect(of('joints').map(({ payload }) => [payload.length, payload[0]])).toEqual([
      [852, 0],
      [852, 1],
      [852, 2],
    ]);
    const properties = (kind: string) =>
      of(kind).map(({ packet: { qos, properties } }) => ({ qos, ...properties }));
    expect(properties('joints')[2]).toMatchObject({
      qos: 0,
      contentType: 'application/octet-stream',
      messageExpiryInterval: 1,
      userProperties: { schema: '1', encoding: 'tautline.joints' },
    });
    expect(properties('raw')[0]).toMatchObject({
      qos: 1,
      userProperties: { schema: '1', encoding: 'tautline.segment' },
    });
    expect(properties('status')[0]).toMatchObject({ qos: 1, contentType: 'application/json' });
    // Round trips are known once something was confirmed, and then stand in the segments.
    expect(of('raw').map(({ payload }) => readSegmentHead(payload))).toMatchObject([{ ntp: 'free' }, {}, {}]);
    sender.publish('raw', 'right', segment());
    await until(() => of('raw').length === 4);
    const head = readSegmentHead(of('raw')[3].payload) as { roundTripUs: number; sentUs: number };
    expect(head.roundTripUs).toBeGreaterThan(0);
    expect(head.sentUs).toBeGreaterThan(0);
  });

  test('a topic is spelled out once, and is a number after that', async () => {
    const broker = await startBroker();
    const { sender, opened } = send(broker);
    await opened(1);
    for (let n = 0; n < 20; n++) sender.publish('joints', 'right', new Uint8Array(20));
    sender.publish('inputs', 'right', Buffer.from('{}'));
    await until(() => broker.log().includes('/inputs'));
    // mosquitto's log has a line for each message, its topic worked out; the socket counts.
    const received = broker.log().match(/Received PUBLISH from tautline-lab-bench-01 .*joints/g) ?? [];
    expect(received).toHaveLength(20);
    const { bytesWritten } = await spelled(20);
    const { bytesWritten: once } = await spelled(0);
    expect((bytesWritten - once) / 20).toBeLessThan(852 + 110);
  });

  /** Bytes on a wire that takes ten numbers for topics. */
  async function spelled(poses: number): Promise<{ bytesWritten: number }> {
    let bytesWritten = 0;
    const url = await fakeBroker((socket) => {
      socket.once('data', (data) => {
        bytesWritten -= data.length;
        // CONNACK with Topic Alias Maximum (34) of 10: MQTT 5, section 3.2.2.3.8.
        socket.write(Buffer.from([0x20, 6, 0, 0, 3, 34, 0, 10]));
      });
      socket.on('data', (data) => {
        bytesWritten += data.length;
      });
    });
    const { sender, opened } = send({ url });
    await opened(1);
    for (let n = 0; n < poses; n++) sender.publish('joints', 'right', new Uint8Array(852));
    await new Promise((resolve) => setTimeout(resolve, 200));
    return { bytesWritten };
  }

  test('a station that is cut off is said to be off line, and one that leaves says so itself', async () => {
    const broker = await startBroker();
    const { got } = await listen(broker, 'tautline/1/+/+/status');
    const { sender, opened } = send(broker);
    await opened(1);
    sender.publish('status', undefined, Buffer.from('{"online":true}'));
    await until(() => got.length === 1);
    // As a power cut does: the broker notices that nothing comes. Here, another takes the name.
    const thief = await mqtt.connectAsync(broker.url, {
      protocolVersion: 5,
      clientId: 'tautline-lab-bench-01',
    });
    await until(() => got.some(({ payload }) => payload.toString() === '{"online":false}'));
    await thief.endAsync(true);
    await opened(2);
    // What is retained is said again to a broker that may have forgotten it.
    await until(() => got.at(-1)?.payload.toString() === '{"online":true}');
    await sender.end(Buffer.from('{"online":false,"by":"itself"}'));
    await until(() => got.at(-1)?.payload.toString() === '{"online":false,"by":"itself"}');
    const late = await listen(broker, 'tautline/1/+/+/status');
    await until(() => late.got.length === 1);
    expect(late.got[0].packet.retain).toBe(true);
  });
});

describe('a broker that comes and goes', () => {
  test('a restart in mid-stream loses no raw bytes, in their order, and some may come twice', async () => {
    const broker = await startBroker();
    const { got } = await listen(broker, 'tautline/1/lab/bench-01/right/raw');
    const { sender, opened } = send(broker);
    await opened(1);
    const first = readSegmentHead(segment()) as { seq: number };
    const seqs = (): number[] => got.map(({ payload }) => (readSegmentHead(payload) as { seq: number }).seq);
    let n = first.seq;
    const feed = setInterval(() => {
      sender.publish('raw', 'right', segment());
      n++;
    }, 5);
    ends.push(() => clearInterval(feed));
    await until(() => got.length > 40);
    await broker.kill();
    await new Promise((resolve) => setTimeout(resolve, 300));
    await broker.start();
    await opened(2);
    // The listener is back a moment later, and what came before that is its loss: the station sent it.
    await new Promise((resolve) => setTimeout(resolve, 500));
    clearInterval(feed);
    await until(() => sender.counts().waitingBytes === 0);
    await until(() => seqs().at(-1) === n);
    expect(sender.counts().dropped).toEqual({ poses: 0, events: 0, raw: 0 });
    const order = seqs();
    expect(order.filter((seq, i) => i > 0 && seq < order[i - 1]).length).toBeLessThanOrEqual(1);
    // Every one was confirmed, once or twice: the broker's own log has them all.
    expect(sender.counts().sent).toBeGreaterThanOrEqual(n - first.seq);
  });

  test('away for long: what waits is bounded, poses go first and raw bytes last', async () => {
    const broker = await startBroker();
    await broker.kill();
    const { sender } = send(broker);
    for (let n = 0; n < 2000; n++) {
      sender.publish('joints', 'right', new Uint8Array(852));
      if (n % 20 === 0) sender.publish('raw', 'right', segment(5000));
    }
    expect(sender.counts().waitingBytes).toBeLessThanOrEqual(LIMITS.maxBytes);
    expect(sender.counts().dropped.raw).toBe(0);
    expect(sender.counts().dropped.poses).toBeGreaterThan(1000);
    for (let n = 0; n < 400; n++) sender.publish('raw', 'right', segment(5000));
    const { waitingBytes, dropped } = sender.counts();
    expect(waitingBytes).toBeLessThanOrEqual(LIMITS.maxBytes);
    expect(dropped.poses).toBe(2000);
    expect(dropped.raw).toBeGreaterThan(250);
  });

  test('a broker that stalls is no reason to keep more than may wait', async () => {
    const broker = await startBroker();
    const { sender, opened } = send(broker);
    await opened(1);
    broker.process().kill('SIGSTOP');
    for (let n = 0; n < 400; n++) {
      sender.publish('raw', 'right', segment(20_000));
      sender.publish('joints', 'right', new Uint8Array(852));
    }
    expect(sender.counts().waitingBytes).toBeLessThanOrEqual(LIMITS.maxBytes + 64 * 21_000);
    expect(sender.counts().dropped.raw).toBeGreaterThan(100);
    broker.process().kill('SIGCONT');
    await until(() => sender.counts().waitingBytes === 0);
  });
});

test('a broker that no longer answers is given up, and nothing that it did not confirm is lost', async () => {
  const broker = await startBroker();
  const { sender, opened, closed } = send(broker, { keepaliveS: 1 });
  await opened(1);
  broker.process().kill('SIGSTOP');
  for (let n = 0; n < 20; n++) sender.publish('raw', 'right', segment());
  const { waitingBytes } = sender.counts();
  expect(waitingBytes).toBeGreaterThan(20 * 200);
  await until(() => closed.length > 0);
  expect(sender.counts()).toMatchObject({ waitingBytes, refused: 0 });
  broker.process().kill('SIGCONT');
  await until(() => sender.counts().sent === 20);
  expect(sender.counts()).toMatchObject({ waitingBytes: 0, refused: 0, dropped: { raw: 0 } });
}, 40_000);

describe('what keeps it from a broker is said in a line', () => {
  const reasonOf = async ({ closed }: Watched): Promise<string> => {
    await until(() => closed.length > 0);
    return closed[0].line;
  };

  test('nobody there, no such name, no MQTT', async () => {
    expect(await reasonOf(send({ url: 'mqtt://127.0.0.1:9' }))).toBe(
      '127.0.0.1:9: no broker answers. Is it started, and is the port right?',
    );
    expect(await reasonOf(send({ url: 'mqtt://no-such-host.invalid' }))).toMatch(
      /^no-such-host\.invalid: (no machine has this name|the name cannot be looked up)/,
    );
    const url = await fakeBroker((socket) => socket.end('HTTP/1.1 400 Bad Request\r\n\r\n'));
    expect(await reasonOf(send({ url }))).toMatch(/^127\.0\.0\.1:\d+: /);
  });

  test('a wrong password; then the right one, without a restart', async () => {
    const broker = await startBroker({ users: { bench: 'right-password' } });
    const passwordFile = join(broker.folder, 'own.password');
    const { writeFileSync } = await import('node:fs');
    writeFileSync(passwordFile, 'wrong-password\n', { mode: 0o600 });
    const watched = send(broker, { username: 'bench', passwordFile });
    expect(await reasonOf(watched)).toContain('Check user name, password and its access list.');
    writeFileSync(passwordFile, 'right-password\n');
    await watched.opened(1);
  });

  test('TLS: an authority that is not known, a port without it, a certificate that is missing', async () => {
    const broker = await startBroker({ tls: true, clientCertificates: true });
    const { ca: caFile, cert: certFile, key: keyFile } = broker.files;
    expect(await reasonOf(send(broker))).toContain("Name the file of the authority's certificate");
    expect(await reasonOf(send(broker, { caFile }))).toMatch(/certificate/);
    await send(broker, { caFile, certFile, keyFile }).opened(1);
    const plain = await startBroker();
    expect(await reasonOf(send({ url: plain.url.replace('mqtt:', 'mqtts:') }, { caFile }))).toMatch(
      /does not speak TLS|broke the connection off/,
    );
    expect(await reasonOf(send(broker, { caFile: '/nowhere/ca.crt' }))).toContain(
      '/nowhere/ca.crt: the file cannot be read',
    );
  });

  test('an access list: what is refused is counted and does not block the rest', async () => {
    const acl =
      'user bench\ntopic write tautline/1/lab/bench-01/status\ntopic write tautline/1/lab/bench-01/+/health\n';
    const broker = await startBroker({ users: { bench: 'p' }, acl });
    const { sender, opened } = send(broker, {
      username: 'bench',
      passwordFile: join(broker.folder, 'bench.password'),
    });
    await opened(1);
    sender.publish('raw', 'right', segment());
    sender.publish('health', 'right', Buffer.from('{}'));
    await until(() => sender.counts().refused === 1 && sender.counts().sent === 1);
    expect(sender.counts().waitingBytes).toBe(0);
  });
});

/** Takes connections and says whatever it likes. */
async function fakeBroker(serve: (socket: Socket) => void): Promise<string> {
  const sockets = new Set<Socket>();
  const server = createServer((socket) => {
    sockets.add(socket);
    socket.on('error', () => {});
    serve(socket);
  });
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
  ends.push(() => {
    for (const socket of sockets) socket.destroy();
    server.close();
  });
  return `mqtt://127.0.0.1:${(server.address() as { port: number }).port}`;
}

describe('a broker that is hostile', () => {
  test('a packet of 200 MB ends the connection at its head', async () => {
    const url = await fakeBroker((socket) => {
      socket.once('data', () => {
        socket.write(Buffer.from([0x20, 3, 0, 0, 0]));
        // PUBLISH, remaining length 200,000,000.
        socket.write(Buffer.from([0x30, 0x80, 0x84, 0xaf, 0x5f]));
        socket.write(Buffer.alloc(100_000));
      });
    });
    const { closed, opened } = send({ url });
    await opened(2);
    expect(closed[0].line).toContain('a packet of more than 65536 bytes');
  });

  test('messages to a station that asked for none are dropped, and it keeps publishing', async () => {
    let taken = 0;
    const url = await fakeBroker((socket) => {
      socket.once('data', () => {
        socket.write(Buffer.from([0x20, 3, 0, 0, 0]));
        const topic = Buffer.from('tautline/1/lab/bench-01/arm');
        const body = Buffer.concat([
          Buffer.from([0, topic.length]),
          topic,
          Buffer.from([0]),
          Buffer.from('{"type":"arm"}'),
        ]);
        for (let n = 0; n < 1000; n++) socket.write(Buffer.concat([Buffer.from([0x30, body.length]), body]));
      });
      socket.on('data', (data) => {
        taken += data.length;
      });
    });
    const { sender, opened, closed } = send({ url });
    await opened(1);
    const before = taken;
    sender.publish('joints', 'right', new Uint8Array(852));
    await until(() => taken > before + 852);
    expect(closed).toEqual([]);
  });
});

test('a collector of the same name is said to be there', async () => {
  const broker = await startBroker();
  const why: TautlineError[] = [];
  const made: Broker[] = [0, 1].map(() =>
    keepConnected(
      { url: broker.url, clientId: 'twin', maxPacketBytes: 1000, firstRetryMs: 50, maxRetryMs: 50 },
      { open() {}, closed: (error) => why.push(error) },
    ),
  );
  ends.push(() => Promise.all(made.map((each) => each.close())));
  await until(() => why.some(({ line }) => line.includes('another client has the same name')));
});
