import { once } from 'node:events';
import { connect } from 'node:net';
import { setTimeout as wait } from 'node:timers/promises';
import { afterEach, beforeEach, describe, expect, it, test } from 'vitest';
import type { StreamLimits } from '../../src/stream/limits.js';
import type { Stream } from '../../src/stream/server.js';
import { App, PROFILE, serve } from './app.js';
import { FakeGlove } from './fake-glove.js';
import { RawApp } from './raw-app.js';

/*
 * What frees fingers, over real sockets: however a disarm is spelt, and whoever is silent. How fast it is, is measured
 * with the firmware in end-to-end/letting-go.
 */

let glove: FakeGlove;
let left: FakeGlove;
let stream: Stream;
beforeEach(() => {
  glove = new FakeGlove();
  left = new FakeGlove('left');
});
const raws: RawApp[] = [];
afterEach(async () => {
  // They answer no goodbye.
  for (const raw of raws.splice(0)) raw.socket.destroy();
  await stream.close();
});
const connectRaw = async (answersPings = true): Promise<RawApp> => {
  const raw = await RawApp.connect(stream.port, answersPings);
  raws.push(raw);
  return raw;
};

const start = async (limits: Partial<StreamLimits> = {}, gloves = [glove]): Promise<void> => {
  stream = await serve(gloves, {}, { limits });
};
const stop = { stopAt: 0.5, effort: 1 };
const RESIST = { type: 'resist', hand: 'right', fingers: { index: stop }, ttlMs: 1000 };

/** A request as bytes, and the first line of the answer. */
async function rawHttp(head: string, body = ''): Promise<string> {
  const socket = connect(stream.port, '127.0.0.1');
  socket.end(`${head}\r\n\r\n${body}`);
  let answer = '';
  socket.on('data', (chunk) => {
    answer += chunk;
  });
  await once(socket, 'close');
  return answer.split('\r\n', 1)[0];
}

describe('a disarm on the stream', () => {
  const LINE = '{"type":"disarm"}';
  const frame = (opcode: number, payload: Buffer) => (app: RawApp) => app.send(opcode, payload);
  const said = (text: string) => frame(1, Buffer.from(text));
  test.each<[string, (app: RawApp) => void]>([
    ['a comma too many', said('{"type":"disarm",}')],
    ['a byte order mark', said(`\ufeff${LINE}`)],
    ['a binary frame', frame(2, Buffer.from(LINE))],
    ['two objects in a frame', said(`${LINE}${LINE}`)],
    ['capitals', said('{"type":"DISARM"}')],
    ['the bare word', said('disarm')],
    ['UTF-16 with a byte order mark', frame(2, Buffer.from(`\ufeff${LINE}`, 'utf16le'))],
    ['UTF-16 of the other order', frame(2, Buffer.from(LINE, 'utf16le').swap16())],
    ['text that is not UTF-8', frame(1, Buffer.concat([Buffer.from([0xfe]), Buffer.from(LINE)]))],
    ['a hand of no name', said('{"type":"disarm","hand":"both"}')],
    ['a hand that is not there', said('{"type":"disarm","hand":"left"}')],
    ['a message that is too large', frame(1, Buffer.from(`${LINE}${' '.repeat(65_530)}`))],
    ['a message that is never whole', (app) => app.send(1, Buffer.from(LINE), false)],
    [
      'fragments',
      (app) =>
        [...LINE].forEach((char, i) => {
          app.send(i === 0 ? 1 : 0, Buffer.from(char), i === LINE.length - 1);
        }),
    ],
    [
      'a frame that is not masked',
      (app) => app.socket.write(Buffer.from([0x81, LINE.length, ...Buffer.from(LINE)])),
    ],
    ['no frame at all', (app) => app.socket.write(LINE)],
    [
      'a goodbye right after it',
      (app) => {
        app.send(1, Buffer.from('{"type":"disarm"'), false);
        app.socket.destroy();
      },
    ],
  ])('is obeyed with %s', async (_, send) => {
    await start();
    const app = await connectRaw();
    await app.reached(() => app.of('welcome').length === 1);
    glove.armed = true;
    send(app);
    await glove.called('disarm');
    expect(glove.armed).toBe(false);
  });

  it('that is misspelt says so, and that it was obeyed', async () => {
    await start();
    const app = await App.connect(stream.port);
    expect(await app.ask({ type: 'disarm', hand: 'both' })).toMatchObject({
      code: 'badMessage',
      path: '/hand',
      message: expect.stringContaining('every hand is disarmed'),
    });
    expect(await app.ask({ type: 'disarm', hand: 'left' })).toMatchObject({ type: 'ack', armed: false });
  });

  it('frees the hand that it names and leaves the other, where both are there; misspelt, both', async () => {
    await start({}, [glove, left]);
    const app = await App.connect(stream.port);
    const armed = () => [glove.armed, left.armed];
    for (const [hand, expected] of [
      ['left', [true, false]],
      ['Left', [false, false]],
    ]) {
      glove.armed = true;
      left.armed = true;
      await app.ask({ type: 'disarm', hand });
      expect(armed()).toEqual(expected);
    }
  });

  it('is not what an app does by its name', async () => {
    await start();
    const app = await App.connect(stream.port);
    glove.armed = true;
    expect(await app.ask({ type: 'subscribe', app: 'disarm helper' })).toMatchObject({ type: 'ack' });
    expect(await app.ask({ ...RESIST, layer: 'disarm' })).toMatchObject({ type: 'ack' });
    app.send({ type: 'ping', id: 'disarm' });
    expect(await app.until((m) => 'id' in m && m.id === 'disarm')).toMatchObject({ type: 'ack' });
    expect(glove.armed).toBe(true);
  });

  it('over the rate is obeyed whatever else is in the message', async () => {
    await start({ messagesPerS: 5, excessMessages: 100 });
    const app = await App.connect(stream.port);
    glove.armed = true;
    for (let i = 0; i < 20; i++) app.send({ type: 'ping' });
    app.send({ type: 'subscribe', app: 'disarm helper' });
    await glove.called('disarm');
    expect(glove.armed).toBe(false);
  });

  it('without end does not become releases without end', async () => {
    await start({ messagesPerS: 1e6 });
    const app = await App.connect(stream.port);
    glove.armed = true;
    for (let i = 0; i < 2000; i++) app.send('disarm');
    await app.ask({ type: 'ping' });
    expect(glove.armed).toBe(false);
    expect(glove.calls.filter(([name]) => name === 'disarm').length).toBeLessThan(500);
  });
});

describe('a disarm over HTTP', () => {
  const POST = (address: string): string => `POST ${address} HTTP/1.1\r\nHost: localhost`;
  test.each([
    POST('/disarm'),
    POST('/disarm/'),
    POST('//disarm'),
    POST('/DISARM'),
    POST('/Disarm?hand=right'),
    POST('/disarm?hand=left'),
    POST('/disarm?hand=both'),
    POST('/disarm?hand=left&hand=right'),
    POST('/disarm/right'),
    POST('/api/disarm'),
    POST('/%64isarm'),
    POST('/disarm%20'),
    POST('/disarm%zz'),
    POST('/disarm_all'),
    POST('/?command=disarm'),
    POST('http://localhost/disarm'),
    `${POST('/disarm')}\r\nContent-Type: nothing/known; =`,
    `${POST('/disarm')}\r\nContent-Length: 5000000`,
    `${POST('/disarm/')}\r\nTransfer-Encoding: chunked`,
    `${POST('/disarm')}\r\nConnection: Upgrade, HTTP2-Settings\r\nUpgrade: h2c\r\nHTTP2-Settings: AAMAAABkAAQAAP__`,
    'PUT /disarm HTTP/1.1\r\nHost: localhost',
    'DELETE /disarm HTTP/1.1\r\nHost: localhost',
    'PATCH /Disarm/ HTTP/1.1\r\nHost: localhost',
    'GET /disarm HTTP/1.1\r\nHost: localhost',
    'GET /Disarm/ HTTP/1.1\r\nHost: localhost\r\nSec-Fetch-Site: none',
    'HEAD /disarm HTTP/1.1\r\nHost: localhost',
  ])('%j frees every finger', async (head) => {
    await start();
    glove.armed = true;
    expect(await rawHttp(head)).toBe('HTTP/1.1 200 OK');
    expect(glove.armed).toBe(false);
  });

  it('frees the hand that it names and leaves the other, where both are there', async () => {
    await start({}, [glove, left]);
    glove.armed = true;
    left.armed = true;
    await rawHttp(POST('/Disarm/?hand=left'));
    expect([glove.armed, left.armed]).toEqual([true, false]);
  });

  test.each([
    ['another Host', 'POST /DISARM/ HTTP/1.1\r\nHost: evil.example', 403],
    ['another page', `${POST('/DISARM/')}\r\nOrigin: https://evil.example`, 403],
    [
      'an image of another page',
      'GET /disarm HTTP/1.1\r\nHost: localhost\r\nSec-Fetch-Site: cross-site',
      403,
    ],
    ['two Hosts', `${POST('/disarm')}\r\nhost: localhost`, 400],
    [
      'an offer to upgrade of two Hosts',
      `${POST('/disarm')}\r\nHOST: evil.example\r\nConnection: Upgrade\r\nUpgrade: h2c`,
      400,
    ],
  ])('from %s is refused', async (_, head, status) => {
    await start();
    glove.armed = true;
    expect(await rawHttp(head)).toContain(`HTTP/1.1 ${status} `);
    expect(glove.armed).toBe(true);
  });

  it('needs the token where there is one, however it is spelt', async () => {
    stream = await serve([glove], { ...PROFILE, token: 'correct-horse-battery' });
    glove.armed = true;
    for (const path of ['/disarm', '/DISARM', '/nothing/disarm']) {
      expect(await rawHttp(POST(path))).toContain(' 401 ');
      expect(glove.armed).toBe(true);
    }
    expect(await rawHttp(POST('/DISARM/?token=correct-horse-battery'))).toContain(' 200 ');
    expect(glove.armed).toBe(false);
  });

  test.each([
    'GET /disarmed HTTP/1.1',
    'GET /notes-on-disarm.txt HTTP/1.1',
    'GET /?q=disarm HTTP/1.1',
    'POST /dis/arm HTTP/1.1',
    'GET /health?disarm HTTP/1.1',
    'OPTIONS /disarm HTTP/1.1',
  ])('%s is none', async (line) => {
    await start();
    glove.armed = true;
    await rawHttp(`${line}\r\nHost: localhost`);
    expect(glove.armed).toBe(true);
  });
});

describe('two Host headers', () => {
  test.each(['GET /health HTTP/1.1', 'POST /arm HTTP/1.1', 'GET / HTTP/1.1'])(
    'on %s are a bad request',
    async (line) => {
      await start();
      expect(await rawHttp(`${line}\r\nHost: localhost\r\nHost: localhost`)).toBe('HTTP/1.1 400 Bad Request');
      expect(glove.armed).toBe(false);
    },
  );

  it('open no stream', async () => {
    await start();
    const head =
      'GET /stream HTTP/1.1\r\nHost: localhost\r\nHost: localhost\r\nConnection: Upgrade\r\nUpgrade: websocket';
    const answer = await rawHttp(
      `${head}\r\nSec-WebSocket-Version: 13\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==`,
    );
    expect(answer).toBe('HTTP/1.1 400 Bad Request');
  });
});

describe('what was asked before a disarm', () => {
  it('does not count after it: not what waits, and not what is on its way', async () => {
    await start();
    const slow = await connectRaw(false);
    const other = await App.connect(stream.port);
    glove.armed = true;
    await other.ask({ type: 'disarm' });
    // The slow app has not seen yet that something came to pass; the wearer has armed again meanwhile.
    await slow.reached(() => slow.pings > 0);
    glove.armed = true;
    for (const message of [
      RESIST,
      { ...RESIST, type: 'arm', fingers: undefined, ttlMs: undefined, hand: 'right' },
    ]) {
      slow.sendText({ ...message, id: message.type });
      await slow.reached(() => slow.of('error').some(({ id }) => id === message.type));
    }
    expect(slow.of('error')).toMatchObject([{ code: 'disarmed' }, { code: 'disarmed' }]);
    expect(glove.calls.map(([name]) => name)).toEqual(['disarm']);
    // What asks for no force is done.
    slow.sendText({ type: 'ping', id: 'p' });
    await slow.reached(() => slow.of('ack').length === 1);
    slow.pong();
    slow.sendText(RESIST);
    await slow.reached(() => slow.of('ack').length === 2);
    expect(glove.calls.map(([name]) => name)).toEqual(['disarm', 'resist']);
  });

  it('in the same breath does not count either', async () => {
    await start();
    const app = await App.connect(stream.port);
    glove.armed = true;
    app.ws.send('{"type":"disarm"}');
    glove.arm('wearer', 'wearer');
    app.send({ ...RESIST, id: 'late' });
    expect(await app.until((m) => 'id' in m && m.id === 'late')).toMatchObject({ code: 'disarmed' });
    // The app can know by now.
    glove.armed = true;
    expect(await app.ask(RESIST)).toMatchObject({ type: 'ack' });
  });

  it('also where the glove disarmed by itself', async () => {
    await start();
    const app = await connectRaw(false);
    await app.reached(() => app.of('welcome').length === 1);
    glove.armed = true;
    glove.tell('resistance');
    glove.armed = false;
    glove.tell('resistance');
    await app.reached(() => app.pings > 0);
    glove.armed = true;
    app.sendText(RESIST);
    await app.reached(() => app.of('error').length === 1);
    expect(app.of('error')).toMatchObject([{ code: 'disarmed' }]);
  });
});

describe('an app that holds fingers and is silent', () => {
  const LIMITS = { aliveEveryMs: 10, aliveWithinMs: 60, watchEveryMs: 5 };
  const dropped = () => glove.calls.filter(([name]) => name === 'drop').length;

  it('holds them no longer, whatever life it asked for; it is trusted again once it answers', async () => {
    await start(LIMITS);
    const app = await connectRaw(false);
    app.sendText(RESIST);
    await app.reached(() => app.of('ack').length === 1);
    const began = performance.now();
    expect(await glove.called('drop')).toEqual(['drop', 'app1']);
    expect(performance.now() - began).toBeGreaterThan(40);
    // Something comes, but it may have been sent before it fell silent.
    app.sendText({ ...RESIST, id: 'doubted' });
    await app.reached(() => app.of('error').length === 1);
    expect(app.of('error')).toMatchObject([{ code: 'tryAgain', id: 'doubted' }]);
    // The answer to the ping that it left unanswered is late; the next one it answers at once.
    const { pings } = app;
    app.pong();
    await app.reached(() => app.pings > pings);
    app.pong();
    app.sendText(RESIST);
    await app.reached(() => app.of('ack').length === 2);
  });

  it('holds them as long as it answers pings', async () => {
    await start(LIMITS);
    const app = await connectRaw();
    app.sendText(RESIST);
    await app.reached(() => app.pings > 12);
    expect(dropped()).toBe(0);
  });

  it('is not pinged often when it holds nothing', async () => {
    await start({ ...LIMITS, pingEveryMs: 1e6 });
    const app = await connectRaw();
    app.sendText({ type: 'ping' });
    await app.reached(() => app.of('ack').length === 1);
    await wait(100);
    expect(app.pings).toBe(0);
  });

  it('in a browser, which answers pings for it, must send messages', async () => {
    await start(LIMITS);
    const origin = { headers: { origin: `http://127.0.0.1:${stream.port}` } };
    const page = await App.connect(stream.port, undefined, origin);
    await page.ask(RESIST);
    expect(await glove.called('drop')).toEqual(['drop', 'app1']);
    glove.calls.length = 0;
    expect(await page.ask(RESIST)).toMatchObject({ type: 'ack' });
    const renewing = setInterval(() => page.send({ type: 'ping' }), 10);
    await wait(200);
    clearInterval(renewing);
    expect(dropped()).toBe(0);
  });
});
