import { once } from 'node:events';
import { afterEach, describe, expect, it, vi } from 'vitest';
import { WebSocket, WebSocketServer } from 'ws';
import { messageOf } from '../../src/client/checked.js';
import {
  type Client,
  ClientError,
  type ConnectOptions,
  connect,
  Grab,
  type HandPose,
} from '../../src/client/index.js';
import { nowUs } from '../../src/clock.js';
import { JOINT_NAMES } from '../../src/hand/joints.js';
import { serve, TRUSTED_TOKEN } from '../stream/app.js';
import { FakeGlove } from '../stream/fake-glove.js';
import { hostileService } from './hostile-service.js';
import { slowService } from './slow-service.js';

const open: { close(): unknown }[] = [];
afterEach(async () => {
  for (const { close } of open.splice(0).reverse()) await close();
  vi.unstubAllGlobals();
});

async function start(gloves = [new FakeGlove('right')], options: ConnectOptions = {}, port = 0) {
  const stream = await serve(gloves, { port });
  open.push(stream);
  const client = connect({ url: stream.address, token: TRUSTED_TOKEN, ...options });
  open.push({ close: () => client.close() });
  return { stream, client, glove: gloves[0] };
}

/** The next event of this type that fits. */
function next<T extends Parameters<Client['on']>[0]>(
  client: Client,
  type: T,
  fits: (event: Parameters<Parameters<typeof client.on<T>>[1]>[0]) => boolean = () => true,
): Promise<Parameters<Parameters<typeof client.on<T>>[1]>[0]> {
  return new Promise((resolve) => {
    const off = client.on(type, (event) => {
      if (!fits(event)) return;
      off();
      resolve(event);
    });
  });
}

/** The first pose after the glove has samples and the subscription stands. */
async function firstPose(client: Client, glove: FakeGlove): Promise<HandPose> {
  const pose = next(client, 'joints', ({ valid }) => valid);
  await client.ready();
  await vi.waitUntil(
    () => {
      glove.sample(nowUs());
      return client.pose(glove.description.hand)?.valid;
    },
    { interval: 5, timeout: 5000 },
  );
  return pose;
}

describe.each(['binary', 'json'] as const)('a client that reads %s', (encoding) => {
  it('gets the same hand as the glove has, by joint name', async () => {
    const { client, glove } = await start(undefined, { encoding });
    const pose = await firstPose(client, glove);
    expect(pose.hand).toBe('right');
    expect(pose.fingers).toEqual({
      thumb: 'tracked',
      index: 'tracked',
      middle: 'inferred',
      ring: 'invalid',
      little: 'tracked',
    });
    const timeUs = Math.ceil(nowUs());
    glove.sample(timeUs);
    const seen = await next(client, 'joints', (each) => each.timeUs === timeUs);
    const at = JOINT_NAMES.indexOf('ring-finger-tip');
    const truth = glove.frame.poses.subarray(at * 8, at * 8 + 8);
    const [x, y, z] = seen.position('ring-finger-tip');
    const [qx, qy, qz, qw] = seen.orientation('ring-finger-tip');
    const read = [x, y, z, qx, qy, qz, qw, seen.radius('ring-finger-tip')];
    for (const [i, value] of read.entries()) expect(value).toBeCloseTo(truth[i], 5);
    const velocity = [...seen.velocity('ring-finger-tip')!, ...seen.angularVelocity('ring-finger-tip')!];
    for (const [i, value] of velocity.entries()) {
      expect(value).toBeCloseTo(glove.frame.velocities[at * 6 + i], 4);
    }
  });
});

it('keeps a touch that asks for no force also while the glove is disarmed', async () => {
  const { client, glove } = await start();
  await firstPose(client, glove);
  const shape = { kind: 'sphere' as const, radius: 0.03 };
  const shown = client.hold({ hand: 'right', shape, effort: 0 });
  const felt = client.hold({ hand: 'right', shape });
  expect(await shown.answered()).toBe('held');
  expect(await felt.answered()).toBe('paused');
});

it('says when a gesture begins and ends, also when the connection does', async () => {
  const { client, glove, stream } = await start();
  await firstPose(client, glove);
  const seen: object[] = [];
  client.on('gesture', (change) => seen.push(change));
  const seeing = async (count: number) => {
    await vi.waitUntil(
      () => {
        glove.tell('gestures');
        return seen.length >= count;
      },
      { interval: 10, timeout: 5000 },
    );
  };
  glove.gestures.add('fist');
  await seeing(1);
  glove.gestures.delete('fist');
  glove.gestures.add('flat');
  await seeing(3);
  expect(seen).toEqual([
    { hand: 'right', gesture: 'fist', active: true, timeUs: 5 },
    { hand: 'right', gesture: 'fist', active: false, timeUs: expect.any(Number) },
    { hand: 'right', gesture: 'flat', active: true, timeUs: 5 },
  ]);
  await stream.close();
  await vi.waitUntil(() => seen.length === 4, { timeout: 5000 });
  expect(seen[3]).toMatchObject({ gesture: 'flat', active: false });
});

it('gives each listener what it asks for, and stops on request', async () => {
  const { client, glove } = await start();
  await firstPose(client, glove);
  const seen: string[] = [];
  const off = client.on('inputs', ({ hand }) => seen.push(hand));
  const inputs = next(client, 'inputs');
  const health = await next(client, 'health');
  expect(health.channels[0].role).toBe('index.curl');
  glove.values = { '/user/hand/right/input/trigger/value': 0.5 };
  await vi.waitUntil(
    () => {
      glove.tell('inputs');
      glove.sample(nowUs());
      return seen.length > 0;
    },
    { interval: 10, timeout: 5000 },
  );
  expect((await inputs).hand).toBe('right');
  expect(client.inputs('right')).toBeDefined();
  off();
  const before = seen.length;
  await next(client, 'joints', () => {
    glove.sample(nowUs());
    return true;
  }).catch(() => {});
  expect(seen.length).toBe(before);
});

it('iterates over the newest poses only, and ends when the client closes', async () => {
  const { client, glove } = await start();
  await firstPose(client, glove);
  const poses = client.poses('right');
  let last: HandPose | undefined;
  for (let i = 0; i < 20; i++) {
    const timeUs = Math.ceil(nowUs());
    glove.sample(timeUs);
    last = await next(client, 'joints', (each) => each.timeUs === timeUs);
  }
  expect((await poses.next()).value).toBe(last);
  const pending = poses.next();
  client.close();
  expect((await pending).done).toBe(true);
  expect((await client.poses().next()).done).toBe(true);
});

it('ends an iteration when its loop breaks', async () => {
  const { client, glove } = await start();
  await firstPose(client, glove);
  setTimeout(() => glove.sample(nowUs()));
  for await (const pose of client.poses()) {
    expect(pose.valid).toBe(true);
    break;
  }
});

it('knows the time of the service', async () => {
  const { client } = await start();
  await client.ready();
  await vi.waitUntil(() => client.clockErrorUs < 5000, { timeout: 5000 });
  // Both run in this process, so the truth is known.
  const ms = performance.now();
  expect(Math.abs(client.serviceTimeUs(ms)! - ms * 1000)).toBeLessThanOrEqual(client.clockErrorUs + 1);
});

it('predicts to the time a pose is shown, by 50 ms at most', async () => {
  const { client, glove } = await start();
  await firstPose(client, glove);
  await vi.waitUntil(() => client.serviceTimeUs() !== undefined);
  const now = client.pose('right')!;
  const late = client.poseAt('right', performance.now() + 1000)!;
  expect(late.aheadUs).toBe(50_000);
  const wrist = now.position('wrist');
  const speed = now.velocity('wrist')!;
  for (let i = 0; i < 3; i++) {
    expect(late.position('wrist')[i]).toBeCloseTo(wrist[i] + speed[i] * 0.05, 4);
  }
  expect(client.poseAt('right', 0)!.aheadUs).toBe(0);
  expect(client.poseAt('left')).toBeUndefined();
});

it('changes what it is sent while it is connected, and keeps that over a reconnection', async () => {
  const { client, glove, stream } = await start(undefined, { rateHz: 100 });
  client.on('health', () => {});
  await firstPose(client, glove);
  const [granted] = (await subscribed(stream.port)).rates;
  expect(granted.rateHz).toBe(100);

  client.adjust({ streams: ['health'] });
  await vi.waitUntil(async () => (await subscribed(stream.port)).streams.join() === 'health');
  const seen: number[] = [];
  const off = client.on('joints', ({ timeUs }) => seen.push(timeUs));
  for (let n = 0; n < 10; n++) glove.sample(nowUs());
  await next(client, 'health');
  expect(seen).toEqual([]);
  off();

  await stream.close();
  const again = await serve([glove], { port: stream.port });
  open.push(again);
  await next(client, 'welcome');
  await vi.waitUntil(async () => (await subscribed(again.port))?.streams.join() === 'health');

  client.adjust({ streams: undefined, rateHz: 50 });
  await vi.waitUntil(async () => (await subscribed(again.port)).streams.includes('joints'));
  expect(await subscribed(again.port)).toMatchObject({
    streams: ['joints', 'health'],
    rates: [{ rateHz: 50 }],
  });
  await firstPose(client, glove);
});

/** What the service says that its only app is sent. */
async function subscribed(port: number): Promise<{ streams: string[]; rates: { rateHz: number }[] }> {
  const health = await (await fetch(`http://127.0.0.1:${port}/health`)).json();
  return (health as { apps: Awaited<ReturnType<typeof subscribed>>[] }).apps[0];
}

describe('when the service goes away', () => {
  it('says so, marks poses invalid, and comes back by itself with its subscription', async () => {
    const { client, glove, stream } = await start();
    await firstPose(client, glove);
    const states: string[] = [];
    client.on('state', ({ state }) => states.push(state));
    const lost = next(client, 'joints', ({ valid }) => !valid);
    await stream.close();
    expect((await lost).reason).toContain('the service ends');
    expect((await lost).fingers.index).toBe('invalid');
    expect(client.pose('right')!.valid).toBe(false);
    await expect(client.pulse({ hand: 'right', amplitude: 1, durationMs: 5 })).rejects.toMatchObject({
      code: 'notConnected',
    });
    open.push(await serve([glove], { port: stream.port }));
    await next(client, 'welcome');
    await firstPose(client, glove);
    expect(states).toContain('waiting');
    expect(states.at(-1)).toBe('open');
  });

  it('starts before there is one', async () => {
    const glove = new FakeGlove();
    const first = await serve([glove]);
    await first.close();
    const client = connect({ url: first.address });
    open.push({ close: () => client.close() });
    await next(client, 'state', ({ state }) => state === 'waiting');
    open.push(await serve([glove], { port: first.port }));
    expect((await client.ready()).hands[0].hand).toBe('right');
  });

  it('gives up a socket that looks open but is dead', async () => {
    const server = new WebSocketServer({ port: 0, host: '127.0.0.1' });
    open.push({ close: () => new Promise((resolve) => server.close(resolve)) });
    await once(server, 'listening');
    const client = connect({ url: `127.0.0.1:${(server.address() as { port: number }).port}` });
    open.push({ close: () => client.close() });
    const [ws] = await once(server, 'connection');
    ws.send(JSON.stringify({ type: 'welcome', hands: [] }));
    await client.ready();
    // From here on nothing answers; time is made to pass.
    const real = performance.now.bind(performance);
    const spy = vi.spyOn(performance, 'now').mockImplementation(() => real() + 60_000);
    const change = await next(client, 'state', ({ state }) => state === 'waiting');
    spy.mockRestore();
    expect(change.reason).toContain('Nothing arrived');
  });

  it('asks nothing of a socket that is closing, of which browsers complain', async () => {
    let last: WebSocket | undefined;
    class Kept extends WebSocket {
      constructor(url: string, protocols: string | string[]) {
        super(url, protocols);
        last = this;
      }
    }
    const { client } = await start(undefined, { WebSocket: Kept as never });
    await client.ready();
    last!.close();
    expect(last!.readyState).toBe(WebSocket.CLOSING);
    const send = vi.spyOn(last!, 'send');
    await expect(client.disarm()).rejects.toMatchObject({ code: 'notConnected' });
    expect(send).not.toHaveBeenCalled();
  });

  it('is closed by an AbortSignal, and then stays closed', async () => {
    const abort = new AbortController();
    const { client } = await start(undefined, { signal: abort.signal });
    await client.ready();
    abort.abort();
    expect(client.state).toBe('closed');
    await expect(client.ready()).rejects.toMatchObject({ code: 'closed' });
    await expect(client.arm()).rejects.toBeInstanceOf(ClientError);
  });
});

it('writes each pose into the one before, if asked to', async () => {
  const { client, glove } = await start(undefined, { reusePoses: true });
  const first = await firstPose(client, glove);
  const { seq } = first;
  await vi.waitUntil(
    () => {
      glove.sample(nowUs());
      return client.pose('right')!.seq !== seq;
    },
    { interval: 5, timeout: 5000 },
  );
  expect(client.pose('right')).toBe(first);
  const ours = await start([glove]);
  const before = await firstPose(ours.client, glove);
  const after = next(ours.client, 'joints', (pose) => pose !== before);
  glove.sample(nowUs());
  expect((await after).seq).not.toBe(before.seq);
});

it('outlives a service that sends what no service sends, and says so', async () => {
  const hostile = await hostileService();
  const client = connect({ url: hostile.url });
  open.push(hostile, { close: () => client.close() });
  const codes = new Set<string>();
  client.on('error', ({ code }) => codes.add(code));
  for (const type of ['joints', 'inputs', 'gestures', 'gesture', 'resistance', 'health'] as const)
    client.on(type, () => {});
  client.hold({ hand: 'right', shape: { kind: 'sphere', radius: 0.03 } });
  const grab = new Grab(client, { hand: 'right', shape: { kind: 'sphere', radius: 0.03 } });
  // What is thrown past the app fails the test.
  await vi.waitUntil(
    () => {
      grab.update([0, 0, 0, 0, 0, 0, 1]);
      return hostile.met() > 12;
    },
    { timeout: 20_000, interval: 5 },
  );
  expect(codes).toContain('badAnswer');
}, 30_000);

it.each([
  'null',
  '[]',
  '7',
  '{}',
  '{"type":"welcome"}',
  '{"type":"welcome","hands":[null]}',
  '{"type":"joints","hand":"right"}',
  '{"type":"joints","hand":"right","poses":[null]}',
  '{"type":"resistance","hand":"right","armed":true}',
  '{"type":"gestures","hand":"right","states":{},"touches":[]}',
  '{"type":"error"}',
])('%s is no message', (text) => expect(messageOf(text)).toBeUndefined());

describe('errors', () => {
  it("carry the service's code and where in the request it is", async () => {
    const { client } = await start();
    await client.ready();
    await expect(client.pulse({ hand: 'left', amplitude: 1, durationMs: 5 })).rejects.toMatchObject({
      name: 'ClientError',
      code: 'unknownHand',
    });
    await expect(client.pulse({ hand: 'right', amplitude: 7, durationMs: 5 })).rejects.toMatchObject({
      code: 'badMessage',
      path: '/amplitude',
    });
  });

  it('of a subscription come as events', async () => {
    const { client } = await start(undefined, { hands: ['left'] });
    expect((await next(client, 'error')).code).toBe('unknownHand');
  });
});

describe('what the app holds', () => {
  const SPHERE = { hand: 'right', shape: { kind: 'sphere', radius: 0.03 }, position: [0, 0, -0.1] } as const;
  const held = () => ({ ...SPHERE, position: [...SPHERE.position] as [number, number, number] });

  async function armed() {
    const all = await start();
    await all.client.ready();
    await all.client.arm();
    return all;
  }
  const count = (glove: FakeGlove, what: string) => glove.calls.filter(([name]) => name === what).length;

  it('is renewed until it is released, with a life under 300 ms', async () => {
    const { client, glove } = await armed();
    const hold = client.hold(held());
    expect(await hold.answered()).toBe('held');
    await vi.waitUntil(() => count(glove, 'touch') >= 4, { timeout: 5000 });
    expect(glove.calls.find(([name]) => name === 'touch')![2]).toMatchObject({
      shape: { kind: 'sphere', radius: 0.03 },
    });
    expect((glove.calls.find(([name]) => name === 'touch')![2] as { ttlMs: number }).ttlMs).toBeLessThan(300);
    hold.release();
    await glove.called('release');
    const after = count(glove, 'touch');
    await client.pulse({ hand: 'right', amplitude: 0.1, durationMs: 1 });
    await new Promise((resolve) => setTimeout(resolve, 200));
    expect(count(glove, 'touch')).toBe(after);
    expect(hold.state).toBe('released');
  });

  it('moves at once, and not more often than is felt', async () => {
    const { client, glove } = await armed();
    const hold = client.hold(held());
    await hold.answered();
    for (let i = 1; i <= 1000; i++) hold.move({ position: [0, 0, -i / 1000] });
    await vi.waitUntil(
      () => glove.calls.some(([name, , m]) => name === 'touch' && (m as HoldMessage).position?.[2] === -1),
      { timeout: 5000 },
    );
    expect(count(glove, 'touch')).toBeLessThan(100);
  });

  it('is held, however slowly the answers are read', async () => {
    /** As in a page that draws for longer than a renewal takes. */
    function SlowSocket(url: string, protocols: string | string[]): WebSocket {
      const socket = new WebSocket(url, protocols);
      return new Proxy(socket, {
        get(target, key) {
          const value: unknown = Reflect.get(target, key, target);
          return typeof value === 'function' ? value.bind(target) : value;
        },
        set(target, key, value: ((event: unknown) => void) | null) {
          const late = (event: unknown) => void setTimeout(() => value?.(event), 150);
          return Reflect.set(target, key, key === 'onmessage' && value ? late : value, target);
        },
      });
    }
    const { client, glove } = await start(undefined, { WebSocket: SlowSocket as never });
    await client.ready();
    await client.arm();
    const hold = client.hold(held());
    expect(await hold.answered()).toBe('held');
    expect(count(glove, 'touch')).toBeGreaterThan(1);
    const before = count(glove, 'touch');
    await vi.waitUntil(() => count(glove, 'touch') > before + 3, { timeout: 5000 });
    expect(hold.state).toBe('held');
    glove.armed = false;
    await client.disarm();
    expect(hold.state).toBe('paused');
    // Answers to what was asked before change nothing.
    await new Promise((resolve) => setTimeout(resolve, 300));
    expect(hold.state).toBe('paused');
  });

  it('waits while the glove is disarmed, and is let go when it is', async () => {
    const { client, glove } = await start();
    await client.ready();
    const hold = client.resist({ hand: 'right', fingers: { index: { stopAt: 0.5, effort: 1 } } });
    expect(await hold.answered()).toBe('paused');
    expect(hold.error!.code).toBe('disarmed');
    expect(count(glove, 'resist')).toBe(0);
    await client.arm();
    await vi.waitUntil(() => hold.state === 'held', { timeout: 5000 });
    await client.disarm();
    expect(hold.state).toBe('paused');
    const before = count(glove, 'resist');
    await new Promise((resolve) => setTimeout(resolve, 200));
    expect(count(glove, 'resist')).toBe(before);
  });

  it('learns from the service that somebody else disarmed', async () => {
    const { client, glove, stream } = await armed();
    const hold = client.hold(held());
    await hold.answered();
    await client.serviceTimeUs();
    await fetch(`${stream.address}/disarm`, { method: 'POST' });
    await vi.waitUntil(() => hold.state === 'paused', { timeout: 5000 });
    expect(glove.armed).toBe(false);
    expect(client.isArmed('right')).toBe(false);
  });

  it('is let go in a page that is hidden, unless the app goes on moving it', async () => {
    const listeners = new Set<() => void>();
    const page = {
      visibilityState: 'visible',
      addEventListener: (_: string, listener: () => void) => listeners.add(listener),
      removeEventListener: (_: string, listener: () => void) => listeners.delete(listener),
    };
    vi.stubGlobal('document', page);
    vi.resetModules();
    const fresh = await import('../../src/client/index.js');
    const glove = new FakeGlove();
    const stream = await serve([glove]);
    const client = fresh.connect({ url: stream.address, token: TRUSTED_TOKEN });
    open.push(stream, { close: () => client.close() });
    await client.ready();
    await client.arm();
    const hold = client.hold(held());
    await hold.answered();
    page.visibilityState = 'hidden';
    for (const listener of listeners) listener();
    expect(hold.state).toBe('paused');
    expect(hold.error!.code).toBe('pageHidden');
    await glove.called('release');
    hold.move({ position: [0, 0, -0.2] });
    await vi.waitUntil(() => hold.state === 'held', { timeout: 5000 });
    await vi.waitUntil(() => hold.state === 'paused', { timeout: 5000 });
    page.visibilityState = 'visible';
    await vi.waitUntil(() => hold.state === 'held', { timeout: 5000 });
    hold.release();
    expect(listeners.size).toBe(0);
  });

  it('is held also where every answer comes later than the next renewal', async () => {
    const slow = await slowService(150);
    const client = connect({ url: slow.url });
    open.push(slow, { close: () => client.close() });
    await client.ready();
    const hold = client.hold(held());
    await vi.waitUntil(() => hold.state === 'held', { timeout: 5000 });
    // What the service says of requests from before a pause is about those.
    slow.disarm();
    await vi.waitUntil(() => hold.state === 'paused', { timeout: 5000 });
    const states = new Set<string>();
    const watched = performance.now() + 400;
    await vi.waitUntil(() => states.add(hold.state) && performance.now() > watched, { interval: 5 });
    expect([...states]).toEqual(['paused']);
    expect(hold.error!.code).toBe('disarmed');
  });

  it('ends for good when the service will never take it', async () => {
    const { client } = await armed();
    const error = next(client, 'error');
    const hold = client.hold({ ...held(), effort: 7 });
    expect(await hold.answered()).toBe('refused');
    expect((await error).path).toBe('/effort');
  });

  it('is taken up after a reconnect only if the glove is armed', async () => {
    const { client, glove, stream } = await armed();
    const hold = client.hold(held());
    await hold.answered();
    await stream.close();
    await vi.waitUntil(() => hold.state === 'paused', { timeout: 5000 });
    glove.armed = false;
    const before = count(glove, 'touch');
    open.push(await serve([glove], { port: stream.port }));
    await next(client, 'welcome');
    expect(hold.error!.code).toBe('disarmed');
    expect(count(glove, 'touch')).toBe(before);
    await client.arm();
    await vi.waitUntil(() => hold.state === 'held', { timeout: 5000 });
  });
});
type HoldMessage = { position?: number[] };
