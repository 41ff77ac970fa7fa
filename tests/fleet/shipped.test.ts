import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import mqtt from 'mqtt';
import { afterEach, describe, expect, it } from 'vitest';
import { parseDocument } from 'yaml';
import { startBroker, stopAllBrokers } from './mosquitto.js';

/* The files of config/fleet. */

const read = (name: string): string => readFileSync(join('config/fleet', name), 'utf8');
afterEach(stopAllBrokers);

describe('the dashboard and what is scraped', () => {
  it('asks for metrics that the service has, and for no others', () => {
    const dashboard = JSON.parse(read('grafana-dashboard.json')) as {
      panels: { targets: { expr: string }[] }[];
    };
    const source = readFileSync('src/stream/metrics.ts', 'utf8');
    const asked = dashboard.panels.flatMap(({ targets }) =>
      targets.flatMap(({ expr }) => expr.match(/tautline_[a-z_]+/g) ?? []),
    );
    expect(new Set(asked).size).toBeGreaterThan(8);
    for (const name of asked) expect([name, source.includes(`'${name}'`)]).toEqual([name, true]);
  });

  it.each(['compose.yaml', 'prometheus.yaml'])('%s is YAML', (name) => {
    const document = parseDocument(read(name), { strict: true, uniqueKeys: true });
    expect([...document.errors, ...document.warnings]).toEqual([]);
  });
});

describe('a service without a fleet section', () => {
  const built = readdirSync('dist', { recursive: true, encoding: 'utf8' }).filter((name) =>
    /^(main|program.[^/\\]+)\.js$/.test(name),
  );
  const textOf = (name: string): string => readFileSync(join('dist', name), 'utf8');
  /** What is loaded along with a file. */
  const loads = (name: string): string[] =>
    [...textOf(name).matchAll(/^import .*?["']([^"']+)["'];$/gm)].map(([, from]) => from.split('/').at(-1)!);

  it('loads neither the library nor what publishes', () => {
    expect(built.length).toBeGreaterThan(10);
    expect(built.filter((name) => loads(name).includes('mqtt'))).toEqual([]);
    const reached = new Set<string>();
    const todo = ['main.js', 'service.js', 'command-line.js'];
    for (let name = todo.pop(); name !== undefined; name = todo.pop()) {
      if (reached.has(name)) continue;
      reached.add(name);
      const path = built.find((each) => each.endsWith(name));
      if (path) todo.push(...loads(path));
    }
    expect(reached.size).toBeGreaterThan(3);
    const ours = [...reached].filter((name) =>
      /^(publisher|broker|collect|stations|sender|segment)\b/.test(name),
    );
    expect(ours).toEqual([]);
    expect(textOf(built.find((name) => name.endsWith('service.js'))!)).toContain('publisher.js');
  });
});

describe('the broker as it is set up', () => {
  it('takes the configuration, and permits each what the access list says', async () => {
    const users = { 'bench-01': 'a', 'bench-02': 'b', recorder: 'c', onlooker: 'd' };
    // Paths and the port are the test's own; every other line is as shipped.
    const own =
      /^(listener|certfile|keyfile|cafile|password_file|acl_file|allow_anonymous|persistence_location)/;
    const more = read('mosquitto.conf')
      .split('\n')
      .filter((line) => /^[a-z]/.test(line) && !own.test(line));
    const broker = await startBroker({
      tls: true,
      users,
      acl: read('acl'),
      more: more.filter((line) => line !== 'persistence true'),
    });
    const clients = await Promise.all(
      Object.entries(users).map(async ([username, password]) => {
        const ca = readFileSync(broker.files.ca);
        const client = await mqtt.connectAsync(broker.url, { protocolVersion: 5, username, password, ca });
        const got: string[] = [];
        client.on('message', (topic) => got.push(topic));
        await client
          .subscribeAsync(['tautline/1/#', '$share/recorders/tautline/1/+/+/+/raw'], { qos: 1 })
          .catch(() => {});
        return [username, { client, got }] as const;
      }),
    );
    const by = Object.fromEntries(clients);
    const publish = (who: string, topic: string) =>
      by[who].client.publishAsync(topic, 'x', { qos: 1 }).then(
        () => 'taken',
        ({ code }) => code,
      );
    for (const station of ['bench-01', 'bench-02']) {
      for (const topic of [`lab/${station}/status`, `lab/${station}/right/raw`, `annex/${station}/status`]) {
        expect([topic, await publish(station, `tautline/1/${topic}`)]).toEqual([topic, 'taken']);
      }
      const other = station === 'bench-01' ? 'bench-02' : 'bench-01';
      for (const topic of [
        `lab/${other}/status`,
        `lab/${other}/right/raw`,
        'collectors/c/echo',
        'lab/status',
      ]) {
        expect([topic, await publish(station, `tautline/1/${topic}`)]).toEqual([topic, 135]);
      }
    }
    expect(await publish('recorder', 'tautline/1/collectors/c/echo')).toBe('taken');
    expect(await publish('recorder', 'tautline/1/lab/bench-01/status')).toBe(135);
    expect(await publish('onlooker', 'tautline/1/lab/bench-01/status')).toBe(135);
    await new Promise((resolve) => setTimeout(resolve, 500));
    expect(by['bench-01'].got).toEqual([]);
    expect(by['bench-02'].got).toEqual([]);
    expect(new Set(by.onlooker.got.map((topic) => topic.split('/').at(-1)))).toEqual(new Set(['status']));
    expect(by.recorder.got.filter((topic) => topic.endsWith('/raw')).length).toBeGreaterThanOrEqual(2);
    for (const { client } of Object.values(by)) await client.endAsync(true);
  }, 30_000);
});
