import { execFileSync } from 'node:child_process';
import { existsSync, mkdtempSync, readdirSync, readFileSync, rmSync, statSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { setTimeout as wait } from 'node:timers/promises';
import mqtt, { type MqttClient } from 'mqtt';
import { afterEach, describe, expect, test } from 'vitest';
import { createRandom } from '../../scripts/fuzz/random.js';
import type { HandSide } from '../../src/hand/joints.js';
import { describeSession } from '../../src/recording/info.js';
import { openSession } from '../../src/recording/session.js';
import { type Running, run, start } from '../commands/cli.js';
import { type BrokerSettings, startBroker, stopAllBrokers, type TestBroker } from '../fleet/mosquitto.js';
import { type ServiceProcess, startServiceProcess, stopAllServices } from './service.js';

/* Real services, collectors and broker: what is published, who collects it, what happens when one of them dies. */

const SIMULATED = readFileSync('config/simulated.yaml', 'utf8');
const folders: string[] = [];
const running: Running[] = [];
const clients: MqttClient[] = [];
afterEach(async () => {
  for (const client of clients.splice(0)) await client.endAsync(true);
  for (const each of running.splice(0)) {
    each.process.kill('SIGKILL');
    await each.outcome;
  }
  await stopAllServices();
  await stopAllBrokers();
  for (const folder of folders.splice(0)) rmSync(folder, { recursive: true, force: true });
});

function newFolder(): string {
  const folder = mkdtempSync(join(tmpdir(), 'tautline-fleet-'));
  folders.push(folder);
  return folder;
}

/** As docs/fleet.md has it: a station writes its own topics alone, collectors and whoever looks on read. */
const ACL = `pattern write tautline/1/lab/%u/#
user recorder
topic read tautline/1/#
topic readwrite tautline/1/collectors/#
`;
const USERS = { 'bench-01': 'first password', 'bench-02': 'second password', recorder: 'third password' };
const GUARDED: BrokerSettings = { tls: true, users: USERS, acl: ACL };

const hands = (sides: HandSide[]): string =>
  SIMULATED.replace(/sampleRateHz: \d+/, 'sampleRateHz: 100').replace(
    /(\n {2}- name: Simulated glove[\s\S]*?)(?=\n\w|$)/,
    (glove) =>
      sides
        .map((side, i) => glove.replace('hand: right', `hand: ${side}`).replace('seed: 1', `seed: ${i + 1}`))
        .join(''),
  );

function station(
  broker: TestBroker,
  name: string,
  sides: HandSide[] = ['right'],
  more = '',
): Promise<ServiceProcess> {
  const secured = broker.url.startsWith('mqtts')
    ? `username: ${name}, passwordFile: "${join(broker.folder, `${name}.password`)}", caFile: "${broker.files.ca}", `
    : '';
  const fleet = `fleet: { broker: "${broker.url}", ${secured}site: lab, station: ${name}, publish: [health, joints, inputs, resistance, raw], rateHz: 30${more} }`;
  return startServiceProcess(`${hands(sides)}\n${fleet}\n`, ['--log-level', 'info']);
}

const access = (broker: TestBroker): string[] => [
  '--broker',
  broker.url,
  ...(broker.url.startsWith('mqtts')
    ? [
        '--username',
        'recorder',
        '--password-file',
        join(broker.folder, 'recorder.password'),
        '--ca',
        broker.files.ca,
      ]
    : []),
];

async function collector(
  broker: TestBroker,
  output: string,
  name: string,
  ...more: string[]
): Promise<Running> {
  const args = [
    'collect',
    ...access(broker),
    '--output',
    output,
    '--name',
    name,
    '--keep-free-mb',
    '1',
    ...more,
  ];
  const begun = start(args);
  running.push(begun);
  await begun.said('Collecting as');
  return begun;
}

async function end(command: Running): Promise<string> {
  command.process.kill('SIGINT');
  const { code, stdout, stderr } = await command.outcome;
  expect({ code, stderr }).toEqual({ code: 0, stderr: '' });
  return stdout;
}

/** The oldest first. */
const filesOf = (output: string, name: string): string[] => {
  const home = join(output, 'lab', name);
  if (!existsSync(home)) return [];
  const files = readdirSync(home).map((file) => join(home, file));
  return files.sort((a, b) => statSync(a).birthtimeMs - statSync(b).birthtimeMs);
};

describe('two stations and two collectors, with TLS and an access list', () => {
  test('all is recorded, one collector is killed, and the other goes on', async () => {
    const broker = await startBroker(GUARDED);
    const output = newFolder();
    const [first] = [await collector(broker, output, 'c1'), await collector(broker, output, 'c2')];
    const second = running[1];
    const stations = [
      await station(broker, 'bench-01', ['left', 'right']),
      await station(broker, 'bench-02'),
    ];
    // What the station itself records, to hold the other against.
    await wait(2000);
    const local = join(output, 'local.mcap');
    const recording = start(['record', local, '--url', `127.0.0.1:${stations[0].port}`]);
    running.push(recording);
    await recording.said('Recording into');
    await wait(3000);

    const shown = await run('stations', ...access(broker), '--once');
    expect(shown.stdout).toMatch(/^2 stations, 2 on line\n/);
    expect(shown.stdout).toMatch(
      /lab +bench-01 +on line +left +Simulated glove +live +\d+ Hz +4\.10 V +1\n +right/,
    );

    await end(recording);
    // The last of it is on its way.
    await wait(1200);
    first.process.kill('SIGKILL');
    await first.outcome;
    const killedMs = Date.now();
    await wait(3000);
    for (const each of stations) await each.stop();
    await wait(700);
    const said = await end(second);
    expect(said).toMatch(/\d+ files, \d+ segments/);

    for (const [i, name] of ['bench-01', 'bench-02'].entries()) {
      const pieces = filesOf(output, name);
      expect(pieces).toHaveLength(2);
      const whole = join(output, `${name}.mcap`);
      const joined = await run('session', 'join', ...pieces, '--output', whole);
      expect(joined.stderr).toBe('');
      const [, segments, missing] = /^(\d+) segments, \d+ of them twice, (\d+) missing/
        .exec(joined.stdout)!
        .map(Number);
      expect(segments).toBeGreaterThan(i === 0 ? 50 : 25);
      // What the killed one had taken and not written yet: less than a second of each hand.
      expect(missing).toBeLessThanOrEqual(i === 0 ? 8 : 4);
      const session = openSession(whole);
      const { damage, hands: found } = describeSession(session);
      const endMs = Number(BigInt(session.head.epochNs) / 1_000_000n) + session.endUs / 1000;
      expect(endMs).toBeGreaterThan(killedMs + 2000);
      expect(damage).toEqual({ chunks: 0, bytes: 0, messages: 0 });
      for (const { samples, deviceId } of found) {
        expect(samples).toBeGreaterThan(700);
        expect(deviceId).toBeDefined();
      }
      session.close();
    }

    // Every byte that the station itself recorded is in what was collected, at the same time.
    const bytes = (file: string): Map<string, string> => {
      const session = openSession(file);
      const found = new Map<string, string>();
      session.visit({
        received: (hand, timeUs, chunk) =>
          void found.set(`${hand} ${timeUs}`, Buffer.from(chunk).toString('hex')),
      });
      session.close();
      return found;
    };
    const collected = bytes(join(output, 'bench-01.mcap'));
    const recorded = bytes(local);
    expect(recorded.size).toBeGreaterThan(200);
    for (const [at, chunk] of recorded) expect(collected.get(at)).toBe(chunk);

    // And it is a session like any other.
    const whole = join(output, 'bench-01.mcap');
    expect((await run('info', whole)).stdout).toContain('right hand: Simulated glove');
    expect((await run('export', whole, '--to', 'csv', '--output', join(output, 'x.csv'))).code).toBe(0);
    const replayed = start(['replay', whole, '--listen', '127.0.0.1:0', '--speed', 'max']);
    running.push(replayed);
    await replayed.said('/stream');
  }, 120_000);

  test('an access list keeps a station from the topics of another', async () => {
    const broker = await startBroker(GUARDED);
    const client = await mqtt.connectAsync(broker.url, {
      protocolVersion: 5,
      username: 'bench-02',
      password: 'second password',
      ca: readFileSync(broker.files.ca),
      rejectUnauthorized: true,
    });
    clients.push(client);
    const publish = (topic: string) =>
      client.publishAsync(topic, '{}', { qos: 1 }).then(
        () => 'taken',
        (error) => error.code,
      );
    expect(await publish('tautline/1/lab/bench-02/status')).toBe('taken');
    expect(await publish('tautline/1/lab/bench-01/status')).toBe(135);
    const granted = await client.subscribeAsync('tautline/1/#', { qos: 1 }).catch(() => [{ qos: 128 }]);
    // mosquitto grants the subscription and delivers nothing: the list is for reading, too.
    const got: string[] = [];
    client.on('message', (topic) => got.push(topic));
    await publish('tautline/1/lab/bench-02/status');
    await wait(300);
    expect(granted.length).toBe(1);
    expect(got).toEqual([]);
  });

  test('a wrong password is said in a line, by station, collector and table', async () => {
    const broker = await startBroker(GUARDED);
    execFileSync('mosquitto_passwd', ['-b', join(broker.folder, 'passwords'), 'recorder', 'another']);
    execFileSync('mosquitto_passwd', ['-b', join(broker.folder, 'passwords'), 'bench-01', 'another']);
    broker.process().kill('SIGHUP');
    await wait(300);
    const service = await station(broker, 'bench-01');
    const shown = await run('stations', ...access(broker), '--once');
    expect(shown.code).toBe(7);
    expect(shown.stderr).toMatch(
      /^tautline: 127\.0\.0\.1:\d+: the broker does not permit this\. Check user name, password/,
    );
    const collecting = start(['collect', ...access(broker), '--output', newFolder(), '--name', 'c']);
    running.push(collecting);
    await wait(2500);
    collecting.process.kill('SIGINT');
    expect((await collecting.outcome).stderr).toMatch(
      /^tautline: 127\.0\.0\.1:\d+: the broker does not permit this\..*\n$/,
    );
    await service.stop();
    const { stderr } = await service.outcome;
    expect(stderr.match(/fleet\.away/g)).toHaveLength(1);
    expect(stderr).not.toContain('first password');
  });
});

describe('a collector', () => {
  test('killed again and again, it loses less than a second each time', async () => {
    const broker = await startBroker();
    const output = newFolder();
    const service = await station(broker, 'bench-01', ['left', 'right']);
    for (let n = 0; n < 3; n++) {
      const collecting = await collector(broker, output, 'c1', '--hold', '60');
      await wait(1500 + 400 * n);
      const killedMs = Date.now();
      collecting.process.kill('SIGKILL');
      await collecting.outcome;
      const session = openSession(filesOf(output, 'bench-01').at(-1)!);
      const endMs = Number(BigInt(session.head.epochNs) / 1_000_000n) + session.endUs / 1000;
      expect(killedMs - endMs).toBeLessThan(1000);
      expect(session.damage).toEqual({ chunks: 0, bytes: 0, messages: 0 });
      session.close();
    }
    // The broker kept what came meanwhile: together they have it all, but for what was on its way to the disk.
    const last = await collector(broker, output, 'c1', '--hold', '60');
    await wait(1500);
    await service.stop();
    await wait(500);
    await end(last);
    const joined = await run(
      'session',
      'join',
      ...filesOf(output, 'bench-01'),
      '--output',
      join(output, 'all.mcap'),
    );
    const [, segments, missing] = /^(\d+) segments, \d+ of them twice, (\d+) missing/
      .exec(joined.stdout)!
      .map(Number);
    expect(segments).toBeGreaterThan(60);
    expect(missing).toBeLessThanOrEqual(3 * 4);
  }, 60_000);

  test.runIf(process.platform === 'linux' && process.getuid?.() === 0)(
    'with a full disk leaves the work to the others, and comes back when there is room',
    async () => {
      const broker = await startBroker();
      const small = newFolder();
      execFileSync('mount', ['-t', 'tmpfs', '-o', 'size=6m', 'tmpfs', small]);
      try {
        const large = newFolder();
        await collector(broker, small, 'c1');
        const other = await collector(broker, large, 'c2');
        const service = await station(broker, 'bench-01', ['left', 'right']);
        const trouble = new Promise<string>((resolve) => running[0].process.stderr!.once('data', resolve));
        await wait(1000);
        execFileSync('sh', ['-c', `head -c 6000000 /dev/zero > ${small}/ballast 2>/dev/null || true`]);
        expect(String(await trouble)).toMatch(/disk is full|MB are free/);
        const before = filesOf(large, 'bench-01').length;
        await wait(1500);
        rmSync(join(small, 'ballast'));
        await wait(6500);
        expect(filesOf(small, 'bench-01').length).toBeGreaterThan(1);
        await service.stop();
        await wait(500);
        await end(other);
        running[0].process.kill('SIGINT');
        await running[0].outcome;
        expect(before).toBe(1);
        const pieces = [...filesOf(small, 'bench-01'), ...filesOf(large, 'bench-01')];
        const joined = await run('session', 'join', ...pieces, '--output', join(large, 'all.mcap'));
        const [, , missing] = /^(\d+) segments, \d+ of them twice, (\d+) missing/
          .exec(joined.stdout)!
          .map(Number);
        expect(missing).toBeLessThanOrEqual(8);
      } finally {
        for (const each of running) each.process.kill('SIGKILL');
        await Promise.all(running.map(({ outcome }) => outcome));
        execFileSync('umount', [small]);
      }
    },
    60_000,
  );
});

describe('nothing that comes from a broker', () => {
  test('arms a glove, moves a finger, changes a profile or ends a service or a collector', async () => {
    const broker = await startBroker();
    const output = newFolder();
    const collecting = await collector(broker, output, 'c1');
    const service = await station(broker, 'bench-01');
    const app = await service.connect();
    app.send({ type: 'subscribe', streams: ['joints', 'resistance'], rateHz: 20 });
    const told: { armed: boolean; held: boolean }[] = [];
    app.ws.on('message', (data) => {
      const message = JSON.parse(String(data));
      if (message.type !== 'resistance') return;
      const held = Object.values<{ stopAt?: number }>(message.fingers).some(
        ({ stopAt }) => stopAt !== undefined,
      );
      told.push({ armed: message.armed, held });
    });
    const profile = async () => (await fetch(`http://127.0.0.1:${service.port}/health`)).json();
    const before = (await profile()).gloves[0];

    const client = await mqtt.connectAsync(broker.url, { protocolVersion: 5 });
    clients.push(client);
    const random = createRandom(22);
    const kinds = [
      'status',
      'session',
      'right/raw',
      'right/joints',
      'arm',
      'resist',
      'set',
      'command',
      'profile',
      '',
    ];
    const bodies = [
      '{"type":"arm"}',
      '{"type":"resist","hand":"right","fingers":{"index":{"stopAt":0,"effort":1}},"ttlMs":1000}',
      'profile: 1',
      '{"fleet":1,"run":"0000000000000000"}',
      '',
    ];
    for (let n = 0; n < 3000; n++) {
      const at = random.pick(['lab/bench-01', 'lab/bench-02', '../..', 'collectors/c1', 'lab/..', `s${n}/x`]);
      const topic = `tautline/1/${at}/${random.pick(kinds)}`;
      const body = random.oneIn(2) ? random.bytes(random.below(4000)) : random.pick(bodies);
      await client.publishAsync(topic, body, { qos: random.oneIn(2) ? 1 : 0, retain: random.oneIn(10) });
    }
    const shown = await run('stations', '--broker', broker.url, '--once');
    expect(shown.stdout).toContain('bench-01');
    await wait(1000);
    expect(told.length).toBeGreaterThan(0);
    expect(told.some(({ armed, held }) => armed || held)).toBe(false);
    const after = (await profile()).gloves[0];
    expect(after.armed).toBe(false);
    expect(after.channels.map(({ role }: { role: string }) => role)).toEqual(
      before.channels.map(({ role }: { role: string }) => role),
    );
    // It still collects what is sound, and made a folder for nobody else.
    expect(filesOf(output, 'bench-01').length).toBeGreaterThan(0);
    expect(readdirSync(output)).toEqual(['lab']);
    await service.stop();
    expect((await service.outcome).code).toBe(0);
    expect(await end(collecting)).toContain('segments');
  }, 60_000);
});
