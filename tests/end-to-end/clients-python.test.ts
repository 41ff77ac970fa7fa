import { execFileSync, spawn } from 'node:child_process';
import { once } from 'node:events';
import { type AddressInfo, createServer } from 'node:net';
import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest';
import { linesOf } from '../client/lines.js';
import { outlivesHostileService } from '../client/loop-trials.js';
import { needPackages } from '../requirements.js';
import type { App } from '../stream/app.js';
import { type ServiceProcess, startServiceProcess, stopAllServices } from './service.js';

/** The Python client with asyncio and with NumPy, as real programs, against a real service. */
const env = { ...process.env, PYTHONPATH: 'src/client/python' };
const python = (...args: string[]) => execFileSync('python3', args, { env, encoding: 'utf8' }).trim();

let service: ServiceProcess;
let app: App;
beforeAll(async () => {
  service = await startServiceProcess();
  app = await service.connect();
  await app.ask({ type: 'subscribe', streams: ['resistance'] });
}, 120_000);
afterEach(async () => {
  await app.ask({ type: 'disarm' });
});
afterAll(async () => {
  app?.ws.close();
  await stopAllServices();
});

const url = () => `ws://127.0.0.1:${service.port}/stream`;
const glove = (what: string, address = url()) => {
  const args = ['tests/client/python/async_glove.py', what, address];
  const child = spawn('python3', args, { env, stdio: 'pipe' });
  const said = linesOf(child.stdout);
  const errors = linesOf(child.stderr);
  const ended = new Promise<number | null>((resolve) => child.on('close', resolve));
  const says = (line: RegExp | string) =>
    expect.poll(() => said, { timeout: 20_000 }).toContainEqual(expect.stringMatching(line));
  return {
    said,
    errors,
    ended,
    says,
    process: child,
    tell: (line: string) => child.stdin.write(`${line}\n`),
  };
};
const effort = (finger: 'index' | 'middle') => app.of('resistance').at(-1)?.fingers[finger]?.effort ?? 0;

const freePort = async (): Promise<number> => {
  const server = createServer().listen(0, '127.0.0.1');
  await once(server, 'listening');
  const { port } = server.address() as AddressInfo;
  await new Promise((resolve) => server.close(resolve));
  return port;
};

describe('asyncio', () => {
  it('gives a program that slept the newest pose', async () => {
    const { said, ended } = glove('poses');
    expect(await ended).toBe(0);
    const [count, seqs, us] = said[0].split(' ').map(Number);
    expect(count).toBe(1);
    expect(seqs).toBeGreaterThan(50);
    expect(us).toBeGreaterThan(900_000);
  });

  it('answers many requests at once, and raises what is refused', async () => {
    const { said, ended } = glove('refused');
    expect(await ended).toBe(0);
    expect(said).toEqual(['badMessage /amplitude', 'True']);
  });

  it('renews what it holds, lets it be moved, and frees when its event loop hangs', async () => {
    const { says, tell, ended } = glove('hold');
    await says(/^To arm: .*tautline arm/);
    await says('paused disarmed');
    await expect.poll(async () => (await service.arm()).status, { timeout: 20_000 }).toBe(200);
    await says(/^held$/);
    await app.reached(() => effort('index') > 0);
    tell('move');
    await app.reached(() => effort('index') === 0 && effort('middle') > 0);
    const seen = app.of('resistance').length;
    tell('hang');
    await app.reached(() => app.of('resistance').length > seen && effort('middle') === 0);
    await app.reached(() => effort('middle') > 0);
    tell('release');
    await says('released');
    await app.reached(() => effort('middle') === 0);
    tell('end');
    expect(await ended).toBe(0);
  });

  it('holds what is refused no longer', async () => {
    const { says, tell, ended } = glove('hold');
    await says('paused disarmed');
    await expect.poll(async () => (await service.arm()).status, { timeout: 20_000 }).toBe(200);
    await says(/^held$/);
    tell('wrong');
    await says('refused badMessage');
    tell('end');
    expect(await ended).toBe(0);
  });

  it('says when the service has gone, and when it is not there', async () => {
    const other = await startServiceProcess();
    const { says, said, ended } = glove('ended', `ws://127.0.0.1:${other.port}/stream`);
    await says('open');
    await other.stop();
    expect(await ended).toBe(0);
    expect(said.slice(1)).toEqual([
      expect.stringMatching(/^(goodbye|lost: )/),
      expect.stringMatching(/^then: /),
    ]);
    const nobody = glove('ended', 'ws://127.0.0.1:1/stream');
    expect(await nobody.ended).toBe(1);
    expect(nobody.errors).toEqual([expect.stringContaining('127.0.0.1')]);
  });
});

describe('asyncio, with reconnect', () => {
  it('comes back after the service, with its subscription and what it holds', async () => {
    const other = await startServiceProcess();
    const { says, said, tell, ended } = glove('keep', `ws://127.0.0.1:${other.port}/stream`);
    await says(/^open$/);
    await says(/^pose valid$/);
    tell('stop 0.3');
    await says(/^hold paused Refused$/);
    await expect.poll(async () => (await other.arm()).status, { timeout: 20_000 }).toBe(200);
    await says(/^hold held$/);
    const before = said.length;
    await other.stop();
    await says(/^waiting ./);
    await says(/^pose lost ./);
    await says(/^hold paused Connection/);
    const again = await startServiceProcess(undefined, ['--listen', `127.0.0.1:${other.port}`]);
    const afterwards = () => said.slice(before);
    await expect.poll(afterwards, { timeout: 20_000 }).toContain('open');
    await expect.poll(afterwards, { timeout: 20_000 }).toContain('pose valid');
    // Whoever restarts the service does not arm it.
    await expect.poll(afterwards, { timeout: 20_000 }).toContain('hold paused Refused');
    expect(afterwards()).not.toContain('hold held');
    await expect.poll(async () => (await again.arm()).status, { timeout: 20_000 }).toBe(200);
    await expect.poll(afterwards, { timeout: 20_000 }).toContain('hold held');
    tell('end');
    expect(await ended).toBe(0);
    await again.stop();
  });

  it('waits for a service that is not there yet, and gives up one that is frozen', async () => {
    const port = await freePort();
    const { says, said, tell, ended } = glove('keep', `ws://127.0.0.1:${port}/stream`);
    await new Promise((resolve) => setTimeout(resolve, 500));
    expect(said).toEqual([]);
    const late = await startServiceProcess(undefined, ['--listen', `127.0.0.1:${port}`]);
    await says(/^pose valid$/);
    late.process.kill('SIGSTOP');
    await says(/^waiting ./);
    late.process.kill('SIGCONT');
    await expect.poll(() => said.filter((line) => line === 'open').length, { timeout: 20_000 }).toBe(2);
    tell('end');
    expect(await ended).toBe(0);
    await late.stop();
  });
});

describe('bytes that no service sends', () => {
  it('end in one line each, and soon', () => {
    const answer = python('tests/client/python/hostile.py', 'tests/client/vectors.json', '20000', '1');
    const { messages, errors, ends, starved, longestMs } = JSON.parse(answer);
    expect(messages + errors + ends + starved).toBe(20_000);
    for (const count of [messages, errors, ends, starved]) expect(count).toBeGreaterThan(20);
    expect(longestMs).toBeLessThan(500);
  });

  it('leave a program running that reconnects', () =>
    outlivesHostileService((address) => glove('keep', address)));
});

describe('NumPy', () => {
  const program = (before: string) =>
    [
      before,
      'from tautline_client import Client, Pose',
      `with Client("${url()}") as client:`,
      '    client.ask({"type": "subscribe", "streams": ["joints"], "velocities": True})',
      '    pose = next(m for m in client if isinstance(m, Pose))',
      '    try:',
      '        joints, rates = pose.joint_array, pose.velocity_array',
      '        print(joints.shape, joints.dtype, rates.shape, joints.flags.writeable)',
      '        print(joints.ravel().tolist() == list(pose.poses), rates.ravel().tolist() == list(pose.velocities))',
      '    except ImportError as error:',
      '        print(error, len(pose.poses))',
    ].join('\n');

  it('gives arrays over the record itself', () => {
    try {
      python('-c', 'import numpy');
    } catch {
      needPackages('python3-numpy');
    }
    expect(python('-c', program(''))).toBe('(26, 8) float32 (26, 6) False\nTrue True');
  });

  it('is not needed, and missed in one line where an array is asked for', () => {
    const without = program('import sys; sys.modules["numpy"] = None');
    expect(python('-c', without)).toMatch(/^arrays need NumPy \(pip install numpy\); .* 208$/);
  });
});
