import { execFileSync, spawn } from 'node:child_process';
import { createHash } from 'node:crypto';
import { once } from 'node:events';
import { mkdtempSync, rmSync } from 'node:fs';
import { type AddressInfo, createServer } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { hostileService } from '../client/hostile-service.js';
import { CSHARP, compileCsharp } from '../client/mono.js';
import { compileCpp } from '../compiled.js';
import type { App } from '../stream/app.js';
import { type ServiceProcess, startServiceProcess, stopAllServices } from './service.js';

/** The example clients in other languages, as real programs, against a real service. */
const CPP = 'src/client/cpp';
const PYTHON = 'src/client/python';
const POSES = 60;

let service: ServiceProcess;
let app: App;
let folder: string;
beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'tautline-clients-'));
  const flags = ['-std=c++17', '-O1', '-Wall', '-Wextra', '-Werror'];
  compileCpp([...flags, `${CPP}/example.cpp`], join(folder, 'example'));
  compileCsharp(`${CSHARP}/Example/Tip.cs`, join(folder, 'tip.exe'));
  service = await startServiceProcess();
  app = await service.connect();
  await app.ask({ type: 'subscribe', streams: ['joints', 'resistance'] });
}, 120_000);
afterAll(async () => {
  app?.ws.close();
  await stopAllServices();
  rmSync(folder, { recursive: true, force: true });
});

function run(program: string, args: string[]): Promise<{ code: number | null; out: string; err: string }> {
  const child = spawn(program, args, { stdio: ['ignore', 'pipe', 'pipe'] });
  let out = '';
  let err = '';
  child.stdout.setEncoding('utf8').on('data', (text) => {
    out += text;
  });
  child.stderr.setEncoding('utf8').on('data', (text) => {
    err += text;
  });
  return new Promise((resolve) => child.on('close', (code) => resolve({ code, out, err })));
}

/** Each line against the JSON pose of the same sample. */
async function check(out: string): Promise<void> {
  const lines = out.trim().split('\n');
  expect(lines).toHaveLength(POSES);
  const last = Number(lines.at(-1)!.split(' ')[2]);
  await app.until((m) => m.type === 'joints' && m.timeUs >= last);
  const known = new Map(app.of('joints').map((pose) => [pose.timeUs, pose]));
  let compared = 0;
  let previous = -1;
  for (const line of lines) {
    const [hand, , timeUs, valid, ...tip] = line.split(' ');
    expect(hand).toBe('right');
    expect(valid).toBe('1');
    expect(Number(timeUs)).toBeGreaterThan(previous);
    previous = Number(timeUs);
    const pose = known.get(previous);
    if (!pose) continue;
    compared++;
    for (let i = 0; i < 3; i++) expect(Number(tip[i])).toBeCloseTo(pose.poses[10][i], 3);
  }
  expect(compared).toBeGreaterThan(POSES / 2);
}

describe.each([
  [
    'C++',
    (port: number, poses: number) => run(join(folder, 'example'), ['127.0.0.1', `${port}`, `${poses}`]),
  ],
  [
    'C#',
    (port: number, poses: number) =>
      run('mono', [join(folder, 'tip.exe'), `ws://127.0.0.1:${port}/stream`, `${poses}`]),
  ],
  [
    'Python',
    (port: number, poses: number) =>
      run('python3', [
        `${PYTHON}/tautline_client.py`,
        '--url',
        `ws://127.0.0.1:${port}/stream`,
        '--poses',
        `${poses}`,
      ]),
  ],
] as const)('the %s client', (_language, start) => {
  it('reads the same hand as the library', async () => {
    const { code, out, err } = await start(service.port, POSES);
    expect(err).toBe('');
    expect(code).toBe(0);
    await check(out);
  });

  it('says in one line that no service is there', async () => {
    const { code, err } = await start(1, 1);
    expect(code).toBe(1);
    expect(err.trim().split('\n')).toHaveLength(1);
    expect(err).toContain('refused');
  });
});

describe('clients that wait, at a service that sends what no service sends', () => {
  const programs = (url: string): Record<string, [string, string[]]> => ({
    'C++, under sanitizers': [join(folder, 'sanitized'), ['127.0.0.1', new URL(url).port, '1000000']],
    Python: ['python3', [`${PYTHON}/tautline_client.py`, '--url', url, '--poses', '1000000']],
  });
  beforeAll(() => {
    const flags = ['-std=c++17', '-O1', '-fsanitize=address,undefined', '-fno-sanitize-recover=all'];
    compileCpp([...flags, `${CPP}/example.cpp`], join(folder, 'sanitized'));
  }, 120_000);

  it.each(['C++, under sanitizers', 'Python'])('%s: end in one line', async (language) => {
    const hostile = await hostileService();
    for (let i = 0; i < 12; i++) {
      const { code, err } = await run(...programs(hostile.url)[language]);
      // What was refused is printed as it came.
      const lines = err.split('\n').filter((line) => line !== '' && !line.startsWith('{'));
      if (language === 'Python') expect(lines.length, err).toBeLessThanOrEqual(1);
      expect(err).not.toMatch(/Sanitizer|runtime error|Traceback/);
      expect([0, 1]).toContain(code);
    }
    hostile.close();
  });

  it.each(['C++, under sanitizers', 'Python'])('%s: take no message that never ends', async (language) => {
    const endless = createServer((socket) => {
      socket.on('error', () => {});
      socket.once('data', (head) => {
        const key = /Sec-WebSocket-Key: (.*)\r/i.exec(head.toString())![1];
        const accept = createHash('sha1')
          .update(`${key}258EAFA5-E914-47DA-95CA-C5AB0DC85B11`)
          .digest('base64');
        socket.write(
          `HTTP/1.1 101 x\r\nUpgrade: websocket\r\nConnection: Upgrade\r\nSec-WebSocket-Accept: ${accept}\r\n\r\n`,
        );
        // Frames of 60000 bytes of one text, none of which is the last.
        const piece = Buffer.concat([Buffer.from([0, 126, 0xea, 0x60]), Buffer.alloc(60_000, 32)]);
        socket.write(Buffer.from([1, 1, 32]));
        const more = () => {
          while (!socket.destroyed && socket.write(piece)) {}
          if (!socket.destroyed) socket.once('drain', more);
        };
        more();
      });
    }).listen(0, '127.0.0.1');
    await once(endless, 'listening');
    const { port } = endless.address() as AddressInfo;
    const { code, err } = await run(...programs(`ws://127.0.0.1:${port}/stream`)[language]);
    expect(code).toBe(1);
    expect(err).toMatch(/a frame that no service/);
    endless.close();
  });
});

it('the C++ example holds a finger, which is free once it has ended', async () => {
  const ended = run(join(folder, 'example'), ['127.0.0.1', `${service.port}`, '2000', 'hold']);
  await service.arm();
  await app.until((m) => m.type === 'resistance' && (m.fingers.index?.effort ?? 0) > 0);
  const { code, err } = await ended;
  expect(err).toBe('armed\n');
  expect(code).toBe(0);
  const seen = app.of('resistance').length;
  await app.reached(() =>
    app
      .of('resistance')
      .slice(seen - 1)
      .some(({ fingers }) => fingers.index?.effort === 0),
  );
  await app.ask({ type: 'disarm' });
});

it('the Python client waits until the wearer has armed, and can say how', async () => {
  const program = [
    'from tautline_client import Client',
    `with Client("ws://127.0.0.1:${service.port}/stream") as client:`,
    '    print(client.how_to_arm("right"), flush=True)',
    '    client.wait_until_armed("right")',
    '    print("armed")',
  ].join('\n');
  const child = spawn('python3', ['-c', program], { env: { ...process.env, PYTHONPATH: PYTHON } });
  let out = '';
  const how = new Promise<void>((resolve) => {
    child.stdout.setEncoding('utf8').on('data', (text) => {
      out += text;
      resolve();
    });
  });
  await how;
  expect(out).toContain('tautline arm');
  expect(child.exitCode).toBeNull();
  await expect.poll(async () => (await service.arm()).status).toBe(200);
  expect(await new Promise((resolve) => child.on('close', resolve))).toBe(0);
  expect(out).toMatch(/\narmed\n$/);
  await app.ask({ type: 'disarm' });
});

it('the Python client raises what the service refuses, with its code', async () => {
  const program = [
    'from tautline_client import Client, Refused',
    `with Client("ws://127.0.0.1:${service.port}/stream") as client:`,
    '    print(client.welcome["hands"][0]["hand"], client.ask({"type": "ping"})["for"])',
    '    try:',
    '        client.ask({"type": "pulse", "hand": "right", "amplitude": 7, "durationMs": 5})',
    '    except Refused as refused:',
    '        print(refused.code, refused.path)',
  ].join('\n');
  const child = execFileSync('python3', ['-c', program], { env: { ...process.env, PYTHONPATH: PYTHON } });
  expect(child.toString()).toBe('right ping\nbadMessage /amplitude\n');
});
