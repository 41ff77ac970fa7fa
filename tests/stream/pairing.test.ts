import { mkdtempSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { request } from 'node:http';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { pino } from 'pino';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { createPairings } from '../../src/stream/pairings.js';
import type { Stream, StreamOptions } from '../../src/stream/server.js';
import { App, serve } from './app.js';
import { FakeGlove } from './fake-glove.js';
import { handshakeStatus } from './handshake.js';

const ONE = `chrome-extension://${'a'.repeat(32)}`;
const OTHER = `chrome-extension://${'b'.repeat(32)}`;
const TOKEN = 'correct-horse-battery';

/** As that of another part of the service. */
const routes: StreamOptions['routes'] = (app) => void app.post('/record/start', () => ({ started: true }));

let folder: string;
let file: string;
let glove: FakeGlove;
let stream: Stream;
beforeEach(async () => {
  folder = mkdtempSync(join(tmpdir(), 'tautline-pairing-'));
  file = join(folder, 'paired.json');
  glove = new FakeGlove();
  stream = await serve([glove], {}, { pairingFile: file, routes });
});
afterEach(async () => {
  await stream.close();
  rmSync(folder, { recursive: true, force: true });
});

interface Answer {
  status: number;
  // biome-ignore lint/suspicious/noExplicitAny: answers of many shapes
  body: any;
  headers: Record<string, unknown>;
}
const http = (method: string, path: string, headers: Record<string, string> = {}, body?: object) =>
  new Promise<Answer>((resolve, reject) => {
    const text = body === undefined ? undefined : JSON.stringify(body);
    const all = text === undefined ? headers : { 'content-type': 'application/json', ...headers };
    const call = request({ host: '127.0.0.1', port: stream.port, method, path, headers: all }, (response) => {
      let said = '';
      response.on('data', (chunk) => {
        said += chunk;
      });
      response.on('end', () =>
        resolve({
          status: response.statusCode!,
          body: said.startsWith('{') ? JSON.parse(said) : said,
          headers: response.headers,
        }),
      );
    });
    call.on('error', reject);
    call.end(text);
  });
/** Status of the handshake: 101 when the stream opens. */
const handshake = (origin: string, secret?: string) =>
  handshakeStatus(`ws://127.0.0.1:${stream.port}/stream${secret === undefined ? '' : `?token=${secret}`}`, {
    origin,
  });
const wearer = () => ({ 'tautline-wearer': stream.wearerKey });
const ask = async (origin = ONE) => (await http('POST', '/pairing', { origin })).body;
const confirm = (code: string, headers: Record<string, string> = wearer()) =>
  http('POST', '/pairings/confirm', headers, { code });
async function pair(origin = ONE): Promise<string> {
  const { code, secret } = await ask(origin);
  expect((await confirm(code)).status).toBe(200);
  return secret;
}

describe('an extension that nobody has confirmed', () => {
  test('is refused, whatever it knows', async () => {
    expect(await handshake(ONE)).toBe(403);
    const { secret } = await ask();
    expect(await handshake(ONE, secret)).toBe(403);
    for (const path of ['/health', '/pairings', '/wearer', '/']) {
      const { status, body, headers } = await http('GET', `${path}?token=${secret}`, { origin: ONE });
      expect([path, status]).toEqual([path, 403]);
      expect(body.message).toContain('not paired');
      expect(headers).not.toHaveProperty('access-control-allow-origin');
    }
    expect((await http('POST', '/arm', { origin: ONE })).status).toBe(403);
    expect((await http('POST', '/disarm', { origin: ONE })).status).toBe(403);
  });

  test('may ask, and is given six digits and a secret that is worth nothing yet', async () => {
    const { status, body, headers } = await http('POST', '/pairing', { origin: ONE });
    expect(status).toBe(200);
    expect(body).toEqual({
      code: expect.stringMatching(/^\d{6}$/),
      secret: expect.stringMatching(/^[\w-]{32}$/),
      expiresInS: 120,
    });
    expect(headers['access-control-allow-origin']).toBe(ONE);
    expect(headers['cache-control']).toBe('no-store');
    const bearer = { origin: ONE, authorization: `Bearer ${body.secret}` };
    expect((await http('POST', '/pairing/state', bearer)).body).toEqual({ state: 'asking' });
    expect((await http('POST', '/pairing/state', { origin: ONE })).body).toEqual({ state: 'unknown' });
    expect((await http('POST', '/pairing/state', { ...bearer, origin: OTHER })).body).toEqual({
      state: 'unknown',
    });
  });

  test('the page is shown who asks, and not the code', async () => {
    const { code, secret } = await ask();
    const { body } = await http('GET', '/pairings');
    expect(body).toEqual({ kept: true, asking: [{ origin: ONE, expiresInS: 120 }], paired: [] });
    expect(JSON.stringify(body)).not.toContain(code);
    expect(JSON.stringify(body)).not.toContain(secret);
  });

  test('web pages and programs cannot ask', async () => {
    const port = stream.port;
    for (const origin of [
      'https://evil.example',
      'null',
      'chrome-extension://short',
      `chrome-extension://${'z'.repeat(32)}`,
      `${ONE}.evil.example`,
      `http://127.0.0.1:${port}`,
    ]) {
      expect([origin, (await http('POST', '/pairing', { origin })).status]).toEqual([origin, 403]);
    }
    expect((await http('POST', '/pairing')).status).toBe(403);
    expect((await http('GET', '/pairings')).body.asking).toEqual([]);
  });
});

describe('confirming', () => {
  test('lets the extension see, and is kept for its user alone, without the secret', async () => {
    const { code, secret } = await ask();
    expect(await confirm(`${code.slice(0, 3)} ${code.slice(3)}`)).toMatchObject({
      status: 200,
      body: { origin: ONE },
    });
    expect(await handshake(ONE, secret)).toBe(101);
    const bearer = { origin: ONE, authorization: `Bearer ${secret}` };
    expect((await http('POST', '/pairing/state', bearer)).body).toEqual({ state: 'paired' });
    if (process.platform !== 'win32') expect(statSync(file).mode & 0o777).toBe(0o600);
    expect(readFileSync(file, 'utf8')).not.toContain(secret);
    // Origin and secret belong together.
    expect(await handshake(ONE)).toBe(403);
    expect(await handshake(ONE, `${secret}x`)).toBe(403);
    expect(await handshake(OTHER, secret)).toBe(403);
    expect(await handshake('https://evil.example', secret)).toBe(403);
  });

  test('lasts, also for a service that wants a token, and takes the place of that', async () => {
    const secret = await pair();
    await stream.close();
    stream = await serve([glove], { token: TOKEN }, { pairingFile: file });
    expect(await handshake(ONE, secret)).toBe(101);
    expect(await handshake(ONE, TOKEN)).toBe(403);
    expect((await http('GET', `/health?token=${secret}`)).status).toBe(401);
    // Without a file there is no pairing.
    await stream.close();
    stream = await serve([glove]);
    expect(await handshake(ONE, secret)).toBe(403);
    expect((await http('POST', '/pairing', { origin: ONE })).status).toBe(409);
  });

  test('is the wearer’s: no page, program or extension does it for itself', async () => {
    const { code, secret } = await ask();
    const own = `http://127.0.0.1:${stream.port}`;
    const attempts: Record<string, string>[] = [
      {},
      { origin: own },
      { origin: own, 'tautline-wearer': 'guessed' },
      { origin: ONE, authorization: `Bearer ${secret}` },
      { origin: ONE, ...wearer() },
      { origin: 'https://evil.example', ...wearer() },
    ];
    for (const headers of attempts) {
      expect([headers, (await confirm(code, headers)).status]).toEqual([headers, 403]);
      const gone = await http('DELETE', `/pairings?origin=${ONE}`, headers);
      expect([headers, gone.status]).toEqual([headers, 403]);
    }
    expect((await http('GET', '/pairings')).body.paired).toEqual([]);
    expect(await handshake(ONE, secret)).toBe(403);
  });

  test('a listed web page can neither read the key nor send it', async () => {
    await stream.close();
    const origin = 'https://app.example';
    stream = await serve([glove], { origins: [origin] }, { pairingFile: file });
    expect((await http('GET', '/wearer', { origin, 'sec-fetch-site': 'cross-site' })).status).toBe(403);
    const preflight = await http('OPTIONS', '/pairings/confirm', {
      origin,
      'access-control-request-method': 'POST',
      'access-control-request-headers': 'content-type, tautline-wearer',
    });
    expect(preflight.headers['access-control-allow-headers']).not.toContain('tautline-wearer');
    const { code } = await ask();
    // A form needs no preflight, and cannot send the header.
    const form = { origin, 'content-type': 'text/plain' };
    expect((await http('POST', '/pairings/confirm', form, { code })).status).not.toBe(200);
    expect((await http('GET', '/pairings')).body.paired).toEqual([]);
    // No page can lay itself over ours.
    const { headers } = await http('GET', '/pairings');
    expect(headers['content-security-policy']).toContain("frame-ancestors 'none'");
  });

  test('a wrong code pairs nobody; after five nobody is asking', async () => {
    const { code, secret } = await ask();
    const wrong = String((Number(code) + 1) % 1_000_000).padStart(6, '0');
    for (let i = 0; i < 4; i++) expect((await confirm(wrong)).body.message).toMatch(/shows this code/);
    expect((await confirm(wrong)).body.message).toMatch(/Too many wrong codes/);
    expect(await confirm(code)).toMatchObject({ status: 409, body: { code: 'tryAgain' } });
    expect(await handshake(ONE, secret)).toBe(403);
    expect((await http('POST', '/pairings/confirm', wearer(), {})).status).toBe(400);
  });

  test('the code is that of the extension that shows it', async () => {
    const [one, other] = [await ask(ONE), await ask(OTHER)];
    expect((await confirm(other.code)).body).toEqual({ origin: OTHER });
    expect(await handshake(OTHER, other.secret)).toBe(101);
    expect(await handshake(ONE, one.secret)).toBe(403);
    // Asking again makes the earlier code worthless.
    const again = await ask(ONE);
    if (again.code !== one.code) expect((await confirm(one.code)).status).toBe(403);
    expect((await confirm(again.code)).status).toBe(200);
  });
});

describe('a paired extension', () => {
  test('sees and lets go, and puts no force on anybody', async () => {
    const secret = await pair();
    const app = await App.connect(stream.port, undefined, {
      headers: { origin: ONE, authorization: `Bearer ${secret}` },
    });
    expect(await app.ask({ type: 'subscribe', app: 'a page' })).toMatchObject({ type: 'ack' });
    expect(await app.ask({ type: 'ping' })).toMatchObject({ type: 'ack' });
    glove.arm('test', 'wearer');
    const refused = { type: 'error', code: 'notPermitted' };
    const sphere = { kind: 'sphere', radius: 0.03 };
    for (const message of [
      { type: 'arm' },
      { type: 'resist', hand: 'right', fingers: { index: { stopAt: 0.5, effort: 1 } } },
      { type: 'touch', hand: 'right', shape: sphere, position: [0, 0, 0] },
      { type: 'pulse', hand: 'right', amplitude: 1, durationMs: 20 },
      { type: 'tracker', hand: 'right', position: [0, 0, 0], orientation: [0, 0, 0, 1] },
      { type: 'rezero' },
      { type: 'openxr', program: 'x', application: 'x' },
    ]) {
      const answer = await app.ask(message);
      expect([message.type, answer.type]).toEqual([message.type, 'error']);
      if (message.type !== 'openxr') expect(answer).toMatchObject(refused);
    }
    expect(glove.calls.filter(([what]) => /resist|touch|pulse|track/.test(String(what)))).toEqual([]);
    expect(await app.ask({ type: 'disarm' })).toMatchObject({ type: 'ack' });
    expect(glove.armed).toBe(false);
    // Over HTTP it may do nothing but disarm.
    const bearer = { origin: ONE, authorization: `Bearer ${secret}` };
    expect((await http('GET', '/health', bearer)).status).toBe(403);
    expect((await http('POST', '/arm', bearer)).status).toBe(403);
    expect((await http('POST', '/record/start?x=disarm', bearer)).status).toBe(403);
    expect((await http('POST', '/disarm', bearer)).status).toBe(200);
  });

  test('is cut off when the wearer withdraws', async () => {
    const secret = await pair();
    const otherSecret = await pair(OTHER);
    const app = await App.connect(stream.port, undefined, {
      headers: { origin: ONE, authorization: `Bearer ${secret}` },
    });
    const { body } = await http('GET', '/pairings');
    expect(body.paired.map(({ origin }: { origin: string }) => origin)).toEqual([ONE, OTHER]);
    expect((await http('DELETE', `/pairings?origin=${encodeURIComponent(ONE)}`, wearer())).status).toBe(200);
    expect(await app.end()).toEqual({ code: 1008, reason: 'the pairing was withdrawn' });
    expect(await handshake(ONE, secret)).toBe(403);
    expect(await handshake(OTHER, otherSecret)).toBe(101);
    expect((await http('DELETE', `/pairings?origin=${ONE}`, wearer())).status).toBe(404);
  });

  test('a file that others can write admits nobody, and says so', async () => {
    const secret = await pair();
    if (process.platform === 'win32') return;
    writeFileSync(file, readFileSync(file), { mode: 0o600 });
    const { chmodSync } = await import('node:fs');
    chmodSync(file, 0o666);
    expect(await handshake(ONE, secret)).toBe(403);
    expect((await http('GET', '/pairings')).body.trouble).toContain('chmod 600');
    const { code } = await ask(OTHER);
    expect((await confirm(code)).status).toBe(403);
  });

  test('its secret is in no log line', async () => {
    await stream.close();
    const lines: string[] = [];
    const logger = pino({ level: 'trace' }, { write: (line: string) => lines.push(line) });
    stream = await serve([glove], {}, { pairingFile: file, logger });
    const { code, secret } = await ask();
    expect(await handshake(ONE, secret)).toBe(403);
    await confirm(code);
    expect(await handshake(ONE, secret)).toBe(101);
    expect(lines.join('')).toContain('extension.paired');
    expect(lines.join('')).not.toContain(secret);
    expect(lines.join('')).not.toContain(code);
  });
});

test('a question is forgotten after two minutes, and three may wait', () => {
  const pairings = createPairings(file);
  const at = (origin: string, nowMs: number) => pairings.ask(origin, nowMs);
  const third = `chrome-extension://${'c'.repeat(32)}`;
  const first = at(ONE, 0) as { code: string; secret: string };
  at(OTHER, 1000);
  at(third, 1000);
  expect(at(`chrome-extension://${'d'.repeat(32)}`, 119_999)).toMatchObject({ code: 'tooMany' });
  expect(pairings.stateOf(ONE, first.secret, 119_999)).toBe('asking');
  expect(pairings.stateOf(ONE, first.secret, 120_000)).toBe('unknown');
  expect(pairings.confirm(first.code, 120_000)).toMatchObject({ code: 'notPermitted' });
  expect(at(`chrome-extension://${'d'.repeat(32)}`, 120_000)).toHaveProperty('secret');
  expect(pairings.list(121_001).asking).toHaveLength(1);
  expect(pairings.withdraw(`chrome-extension://${'d'.repeat(32)}`)).toBe(true);
  expect(pairings.list(121_001).asking).toEqual([]);
});

test('sixteen are kept, and the oldest gives way', () => {
  const pairings = createPairings(file);
  const origins = Array.from(
    { length: 17 },
    (_, i) => `chrome-extension://${String.fromCharCode(97 + (i % 16)).repeat(31)}${i > 15 ? 'p' : 'b'}`,
  );
  for (const origin of origins) {
    pairings.confirm((pairings.ask(origin, 0) as { code: string }).code, 0);
  }
  expect(pairings.list(0).paired.map(({ origin }) => origin)).toEqual(origins.slice(1));
});
