import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import { request } from 'node:http';
import { createServer } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { pino } from 'pino';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { AppMessages, ServerMessages } from '../../src/protocol/messages.js';
import type { Stream } from '../../src/stream/server.js';
import { App, armAsWearer, PROFILE, serve } from './app.js';
import { FakeGlove } from './fake-glove.js';
import { handshakeStatus } from './handshake.js';

const TOKEN = 'correct-horse-battery';
let glove: FakeGlove;
let stream: Stream | undefined;
beforeEach(() => {
  glove = new FakeGlove();
});
afterEach(async () => {
  await stream?.close();
  stream = undefined;
});

interface Answer {
  status: number;
  body: Record<string, unknown>;
  headers: Record<string, unknown>;
}
/** An HTTP request with headers that fetch would not let us set. */
const http = (method: string, path: string, headers: Record<string, string> = {}, body?: string) =>
  new Promise<Answer>((resolve, reject) => {
    const call = request({ host: '127.0.0.1', port: stream!.port, method, path, headers }, (response) => {
      let text = '';
      response.on('data', (chunk) => {
        text += chunk;
      });
      response.on('end', () => {
        const isJson = response.headers['content-type']?.includes('json');
        const { statusCode, headers } = response;
        resolve({ status: statusCode!, body: isJson ? JSON.parse(text) : { text }, headers });
      });
    });
    call.on('error', reject);
    call.end(body);
  });
/** Status of the handshake: 101 when the stream opens. */
const handshake = (headers: Record<string, string> = {}, protocols: string[] = [], path = '/stream') =>
  handshakeStatus(`ws://127.0.0.1:${stream!.port}${path}`, headers, protocols);

describe('who may connect', () => {
  test('web pages: our own and those listed; native apps send no Origin', async () => {
    stream = await serve([glove], { origins: ['https://app.example'] });
    const { port } = stream;
    const own = [`http://127.0.0.1:${port}`, `http://localhost:${port}`, `http://[::1]:${port}`];
    for (const origin of [...own, 'https://app.example']) {
      expect([origin, await handshake({ origin })]).toEqual([origin, 101]);
      expect((await http('POST', '/disarm', { origin })).status).toBe(200);
    }
    expect(await handshake()).toBe(101);
    const foreign = [
      'https://evil.example',
      'null',
      `http://evil.example:${port}`,
      `https://127.0.0.1:${port}`,
      `http://127.0.0.1:${port + 1}`,
      'http://127.0.0.1',
      `http://localhost.evil.example:${port}`,
      'https://app.example.evil.example',
    ];
    for (const origin of foreign) {
      expect([origin, await handshake({ origin })]).toEqual([origin, 403]);
      expect((await http('POST', '/arm', { origin })).status).toBe(403);
    }
    expect(glove.armed).toBe(false);
  });

  test('the Host must be ours: a name that was rebound to this machine is refused', async () => {
    stream = await serve([glove]);
    for (const host of ['evil.example', 'evil.example:7117', '127.0.0.1.evil.example', '192.168.0.9']) {
      expect([host, await handshake({ host })]).toEqual([host, 403]);
      expect((await http('GET', '/health', { host })).status).toBe(403);
      expect((await http('POST', '/arm', { host })).status).toBe(403);
    }
    for (const host of ['localhost', 'LOCALHOST:1', '127.0.0.1:7117', '[::1]:7117']) {
      expect([host, await handshake({ host })]).toEqual([host, 101]);
    }
    expect(glove.armed).toBe(false);
  });

  test('a hand without a glove is answered with the hands that there are', async () => {
    stream = await serve([glove]);
    const { status, body } = await http('POST', '/arm?hand=left');
    expect(status).toBe(404);
    expect(body).toMatchObject({
      code: 'unknownHand',
      message: 'There is no glove for the left hand; the service has: right.',
    });
  });

  test('addresses that other machines reach need a token', async () => {
    for (const host of ['0.0.0.0', '::', '192.0.2.7', 'glove.local']) {
      await expect(serve([glove], { host })).rejects.toMatchObject({ code: 'addressNotAllowed' });
    }
    stream = await serve([glove], { host: '0.0.0.0', token: TOKEN });
    expect(await handshake()).toBe(401);
    expect(await handshake({ authorization: `Bearer ${TOKEN}` })).toBe(101);
    expect(await handshake({}, [], `/stream?token=${TOKEN}`)).toBe(101);
    expect(await handshake({ host: '192.0.2.7', authorization: `Bearer ${TOKEN}` })).toBe(101);
    expect(await handshake({ host: 'evil.example', authorization: `Bearer ${TOKEN}` })).toBe(403);
    for (const wrong of ['x', `${TOKEN}x`, TOKEN.slice(1), '']) {
      expect(await handshake({ authorization: `Bearer ${wrong}` })).toBe(401);
      expect((await http('POST', `/arm?token=${wrong}`)).status).toBe(401);
    }
    expect((await http('GET', '/health')).status).toBe(401);
    expect((await http('POST', `/disarm?token=${TOKEN}`)).status).toBe(200);
    expect(glove.armed).toBe(false);
  });

  test('the token is in no log line and no answer', async () => {
    const lines: string[] = [];
    const logger = pino({ level: 'trace' }, { write: (line: string) => lines.push(line) });
    stream = await serve([glove], { token: TOKEN }, { logger });
    expect(await handshake({}, [], `/stream?token=${TOKEN}`)).toBe(101);
    expect(await handshake({ origin: 'https://evil.example' }, [], `/stream?token=${TOKEN}`)).toBe(403);
    const answers = [
      await http('POST', `/arm?token=${TOKEN}`),
      await http('GET', `/nothing?token=${TOKEN}`),
      await http('GET', `/health?token=${TOKEN}`),
    ];
    expect(lines.length).toBeGreaterThan(1);
    expect(lines.join('') + JSON.stringify(answers)).not.toContain(TOKEN);
  });

  test('a page that is listed may ask to send the token; others may not', async () => {
    stream = await serve([glove], { token: TOKEN, origins: ['https://app.example'] });
    const asks = {
      'access-control-request-method': 'POST',
      'access-control-request-headers': 'authorization',
    };
    const { status, headers } = await http('OPTIONS', '/arm', { origin: 'https://app.example', ...asks });
    expect(status).toBe(204);
    expect(headers['access-control-allow-origin']).toBe('https://app.example');
    expect(headers['access-control-allow-headers']).toContain('authorization');
    const other = await http('OPTIONS', '/arm', { origin: 'https://evil.example', ...asks });
    expect(other.status).toBe(403);
    expect(other.headers).not.toHaveProperty('access-control-allow-origin');
  });

  test('subprotocols: JSON by default, the first known of those offered, never an unknown one', async () => {
    stream = await serve([glove]);
    const { port } = stream;
    expect((await App.connect(port)).ws.protocol).toBe('');
    expect((await App.connect(port, 'tautline.json.v1')).ws.protocol).toBe('tautline.json.v1');
    expect((await App.binary(port)).ws.protocol).toBe('tautline.binary.v1');
    expect(await handshake({}, ['tautline.json.v9'])).toBe(400);
    expect(await handshake({}, ['tautline.json.v9', 'tautline.binary.v1'])).toBe(101);
    expect(await handshake({}, [], '/elsewhere')).toBe(404);
  });
});

describe('HTTP', () => {
  test('/health tells version, gloves and apps', async () => {
    stream = await serve([glove]);
    const app = await App.connect(stream.port);
    await app.ask({ type: 'subscribe', app: 'Demo scene' });
    expect((await http('GET', '/health')).body).toMatchObject({
      name: 'tautline',
      version: '0.0.0-test',
      gloves: [{ hand: 'right', armed: false, link: { state: 'live' }, channels: [{ verdict: 'healthy' }] }],
      apps: [{ app: 'app1', name: 'Demo scene', encoding: 'json', streams: ['joints'], dropped: 0 }],
    });
  });

  test('/schema is every message, as JSON Schema', async () => {
    stream = await serve([glove]);
    const { body } = await http('GET', '/schema');
    expect(body).toMatchObject({ protocol: 1, $schema: expect.stringContaining('draft-07') });
    expect(body.app).toEqual(JSON.parse(JSON.stringify(AppMessages)));
    expect(body.server).toEqual(JSON.parse(JSON.stringify(ServerMessages)));
  });

  test('/arm is for the gloves that are connected, and fails without one', async () => {
    const left = new FakeGlove('left');
    stream = await serve([glove, left]);
    left.connected = false;
    left.armRefusal = { code: 'notSupported', message: 'Not there.' };
    expect((await armAsWearer(stream.port)).body).toMatchObject({
      armed: true,
      hands: [
        { hand: 'right', armed: true, connected: true },
        { hand: 'left', armed: false, connected: false },
      ],
    });
    expect(await armAsWearer(stream.port, 'left')).toMatchObject({
      status: 409,
      body: { armed: false, code: 'notSupported', message: expect.stringContaining('left hand') },
    });
    expect((await http('POST', '/disarm?hand=left')).status).toBe(200);
  });

  test('/arm and /disarm, with any body, for one hand or all', async () => {
    stream = await serve([glove]);
    const armed = await armAsWearer(stream.port);
    expect(armed.body).toMatchObject({ armed: true, hands: [{ hand: 'right', armed: true }] });
    expect(armed.body.caution).toMatch(/pinch/);
    const bodies: [Record<string, string>, string?][] = [
      [{}],
      [{ 'content-type': 'application/json' }, ''],
      [{ 'content-type': 'application/json' }, '{"broken'],
      [{ 'content-type': 'application/x-www-form-urlencoded' }, 'a=b'],
      [{ 'content-type': 'text/plain' }, 'please'],
    ];
    for (const [headers, body] of bodies) {
      await armAsWearer(stream.port);
      expect((await http('POST', '/disarm', headers, body)).body).toMatchObject({ armed: false });
      expect(glove.armed).toBe(false);
    }
    expect((await armAsWearer(stream.port, 'right')).body).not.toHaveProperty('caution');
    expect((await http('GET', '/arm')).status).toBe(404);
  });

  test('JSON that is nested too deeply is refused before it is parsed', async () => {
    stream = await serve([glove], {}, { routes: (app) => void app.post('/echo', ({ body }) => ({ body })) });
    const json = { 'content-type': 'application/json' };
    const nested = (depth: number) => '['.repeat(depth) + ']'.repeat(depth);
    expect(await http('POST', '/echo', json, nested(32))).toMatchObject({ status: 200 });
    expect(await http('POST', '/echo', json, nested(33))).toMatchObject({
      status: 400,
      body: { message: 'The JSON is nested too deeply.' },
    });
    const began = process.cpuUsage();
    expect((await http('POST', '/echo', json, '['.repeat(900_000))).status).toBe(400);
    expect(process.cpuUsage(began).user / 1000).toBeLessThan(60);
    expect((await http('POST', '/echo', json, '{"__proto__":1}')).status).toBe(400);
  });

  test('the page at /, routes of other parts behind the same checks', async () => {
    const page = await mkdtemp(join(tmpdir(), 'page-'));
    await writeFile(join(page, 'index.html'), '<title>page</title>');
    stream = await serve(
      [glove],
      { token: TOKEN },
      {
        page,
        routes: (app) => void app.get('/extra', () => ({ extra: true })),
      },
    );
    const { status, body, headers } = await http('GET', '/');
    expect([status, body.text]).toEqual([200, '<title>page</title>']);
    expect(headers['content-security-policy']).toContain("frame-ancestors 'none'");
    expect((await http('GET', '/../../etc/passwd')).status).toBeGreaterThanOrEqual(400);
    expect((await http('GET', '/extra')).status).toBe(401);
    expect((await http('GET', `/extra?token=${TOKEN}`)).body).toEqual({ extra: true });
    await rm(page, { recursive: true });
  });
});

describe('start and end', () => {
  test('a taken port is named, with what to do', async () => {
    const other = createServer().listen(0, '127.0.0.1');
    await new Promise((resolve) => other.once('listening', resolve));
    const { port } = other.address() as { port: number };
    await expect(serve([glove], { port })).rejects.toMatchObject({
      code: 'addressInUse',
      message: `Another program listens on 127.0.0.1:${port}.`,
      remedy: expect.stringContaining('stream.port'),
    });
    other.close();
  });

  test('close says goodbye, drops what apps asked for, and leaves the glove', async () => {
    const ending = await serve([glove], PROFILE);
    const app = await App.connect(ending.port);
    await app.ask({ type: 'subscribe' });
    await ending.close();
    expect(await app.end()).toEqual({ code: 1001, reason: 'the service ends' });
    expect(glove.calls).toEqual([['drop', 'app1']]);
    expect(glove.listeners.size).toBe(0);
  });
});
