import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import type { Stream } from '../../src/stream/server.js';
import { App, serve, TRUSTED } from './app.js';
import { FakeGlove } from './fake-glove.js';

let glove: FakeGlove;
let stream: Stream;
let apps: App[];
beforeEach(async () => {
  glove = new FakeGlove();
  stream = await serve([glove]);
  apps = [];
});
afterEach(async () => {
  await stream.close();
  // Whatever a test looked at: every message was as its schema says.
  for (const app of apps) expect(app.schemaErrors).toEqual([]);
});

const connect = async (): Promise<App> => {
  const app = await App.connect(stream.port);
  apps.push(app);
  await app.until((m) => m.type === 'welcome');
  return app;
};
const binary = async (): Promise<App> => {
  const app = await App.binary(stream.port);
  apps.push(app);
  return app;
};
const sampleFor = (seconds: number, fromUs = 0) => {
  for (let i = 1; i <= seconds * 500; i++) glove.sample(fromUs + i * 2000);
};

describe('welcome', () => {
  test('describes hands and joints', async () => {
    const app = await connect();
    expect(app.of('welcome')).toMatchObject([
      {
        protocol: 1,
        server: { name: 'tautline', version: '0.0.0-test' },
        app: 'app1',
        hands: [
          {
            hand: 'right',
            sampleRateHz: 500,
            armed: false,
            link: { state: 'live' },
            wrist: { source: 'app', app: 'workshop', ageMs: 4, jitterMm: 0.5 },
          },
        ],
      },
    ]);
    const [{ jointOrder, hands }] = app.of('welcome');
    expect(jointOrder[1]).toBe('wrist');
    expect(hands[0].skeleton.radiiM).toHaveLength(26);
    expect(hands[0].skeleton.restPoses[0]).toHaveLength(7);
  });

  test('comes again when the glove turns out to be different; readers move to its rate and side', async () => {
    glove.description = { ...glove.description, sampleRateHz: 0 };
    const [one, other] = [await connect(), await connect()];
    expect(await one.ask({ type: 'subscribe', rateHz: 100 })).toMatchObject({ rateHz: 100 });
    expect(await other.ask({ type: 'subscribe' })).not.toHaveProperty('rateHz');
    glove.description = { ...glove.description, sampleRateHz: 500, hand: 'left' };
    glove.tell('described');
    await one.reached(() => one.of('welcome').length === 2);
    expect(one.of('welcome')[1].hands[0]).toMatchObject({ hand: 'left', sampleRateHz: 500 });
    sampleFor(1);
    await other.reached(() => other.of('joints').length === 500);
    await one.ask({ type: 'ping' });
    expect(one.of('joints').length).toBeGreaterThanOrEqual(100);
    expect(one.of('joints').length).toBeLessThanOrEqual(101);
    expect(one.of('joints')[0].hand).toBe('left');
  });
});

describe('poses', () => {
  test('have the same numbers in both encodings', async () => {
    const [json, records] = [await connect(), await binary()];
    await json.ask({ type: 'subscribe', velocities: true });
    await records.ask({ type: 'subscribe', velocities: true });
    sampleFor(0.2);
    await json.reached(() => json.of('joints').length === 100);
    await records.reached(() => records.records.length === 100);
    for (const [i, pose] of json.of('joints').entries()) {
      const record = records.records[i];
      const { hand, timeUs, space, valid, fingers } = record;
      expect(pose).toMatchObject({ hand, timeUs, space, valid, fingers });
      pose.poses.flat().forEach((value, k) => {
        expect(Math.abs(value - record.poses[k])).toBeLessThan(2e-7);
      });
      pose.velocities!.flat().forEach((value, k) => {
        expect(Math.abs(value - record.velocities![k])).toBeLessThan(1e-5);
      });
    }
  });

  test.each([60, 90, 120])('come at %i Hz of sample time, in even count', async (rateHz) => {
    const [json, records] = [await connect(), await binary()];
    const request = { type: 'subscribe', rateHz };
    expect(await json.ask(request)).toMatchObject({ type: 'ack', for: 'subscribe', rateHz });
    await records.ask(request);
    sampleFor(4);
    await json.ask({ type: 'ping' });
    await records.ask({ type: 'ping' });
    const poses = json.of('joints');
    const seconds = (poses.at(-1)!.timeUs - poses[0].timeUs) / 1e6;
    // Where the last pose falls is open by half a sample.
    expect(Math.abs((poses.length - 1) / rateHz - seconds)).toBeLessThan(0.004 * 0.001 + 0.001 + 1e-9);
    expect(poses.map(({ seq }) => seq)).toEqual(poses.map((_, i) => poses[0].seq + i));
    // Readers at one rate share one phase, whatever their encoding.
    expect(records.records.map(({ timeUs }) => timeUs)).toEqual(poses.map(({ timeUs }) => timeUs));
  });

  test('at a rate beyond the samples are every sample, and the ack says so', async () => {
    const app = await connect();
    expect(await app.ask({ type: 'subscribe', rateHz: 1000 })).toMatchObject({ rateHz: 500 });
    sampleFor(1);
    await app.reached(() => app.of('joints').length === 500);
  });

  test('are counted and encoded once for readers that want the same', async () => {
    const [one, other] = [await connect(), await connect()];
    await one.ask({ type: 'subscribe' });
    sampleFor(0.1);
    await other.ask({ type: 'subscribe', rateHz: 500 });
    sampleFor(0.1, 1e6);
    await one.reached(() => one.of('joints').length === 100);
    await other.reached(() => other.of('joints').length === 50);
    expect(other.of('joints')).toEqual(one.of('joints').slice(50));
  });

  test('are predicted when asked, velocities left out when not', async () => {
    const [now, ahead] = [await connect(), await connect()];
    await now.ask({ type: 'subscribe' });
    await ahead.ask({ type: 'subscribe', predictMs: 20, velocities: true });
    glove.sample(2000);
    await ahead.reached(() => ahead.of('joints').length === 1);
    await now.reached(() => now.of('joints').length === 1);
    const [pose] = now.of('joints');
    const [predicted] = ahead.of('joints');
    expect(pose).not.toHaveProperty('velocities');
    expect(predicted.timeUs).toBe(pose.timeUs);
    expect(predicted.poseTimeUs).toBe(pose.timeUs + 20_000);
    expect(pose).not.toHaveProperty('poseTimeUs');
    for (let joint = 0; joint < 26; joint++) {
      const expected = pose.poses[joint][0] + 0.02 * predicted.velocities![joint][0];
      expect(predicted.poses[joint][0]).toBeCloseTo(expected, 5);
    }
  });

  test('say how firmly fingers press when asked for the surface, and not otherwise', async () => {
    const [plain, shown] = [await connect(), await connect()];
    await plain.ask({ type: 'subscribe' });
    await shown.ask({ type: 'subscribe', surface: true });
    glove.sample(2000);
    for (const app of [plain, shown]) await app.reached(() => app.of('joints').length === 1);
    expect(plain.of('joints')[0]).not.toHaveProperty('pressures');
    expect(shown.of('joints')[0].pressures).toEqual([0, 0.25, 0.5, 0, 0]);
  });

  test('say at once that the glove is silent, at any rate, and to those who come later', async () => {
    const slow = await connect();
    await slow.ask({ type: 'subscribe', rateHz: 1 });
    glove.sample(2000);
    glove.sample(4000);
    glove.silence(4000, 'No bytes for 1 s. Check the cable.');
    await slow.reached(() => slow.of('joints').length === 2);
    const [before, silent] = slow.of('joints');
    expect(silent).toMatchObject({ valid: false, reason: 'No bytes for 1 s. Check the cable.' });
    expect(silent.seq).toBe(before.seq + 1);
    expect(silent.timeUs).toBeGreaterThan(4000);
    const late = await binary();
    await late.ask({ type: 'subscribe' });
    await late.reached(() => late.records.length === 1);
    expect(late.records[0]).toMatchObject({ valid: false, reason: 'No bytes for 1 s. Check the cable.' });
    glove.sample(1_500_000);
    await slow.reached(() => slow.of('joints').length === 3);
    expect(slow.of('joints')[2]).toMatchObject({ valid: true, seq: before.seq + 2 });
  });

  test('with a number that is not finite are not sent and not counted', async () => {
    const app = await connect();
    await app.ask({ type: 'subscribe' });
    glove.sample(2000);
    glove.frame.poses[77] = Number.NaN;
    glove.frame.timeUs = 4000;
    for (const listener of glove.listeners) listener.frame?.(glove.frame);
    glove.sample(6000);
    await app.reached(() => app.of('joints').length === 2);
    expect(app.of('joints').map(({ seq, timeUs }) => [seq, timeUs])).toEqual([
      [0, 2000],
      [1, 6000],
    ]);
  });

  test('end with an empty subscription', async () => {
    const app = await connect();
    await app.ask({ type: 'subscribe' });
    glove.sample(2000);
    await app.ask({ type: 'subscribe', streams: [] });
    glove.sample(4000);
    await app.ask({ type: 'ping' });
    expect(app.of('joints')).toHaveLength(1);
  });
});

describe('other streams', () => {
  test('gestures come at once, then on change, and when the hand is lost', async () => {
    const app = await App.connect(stream.port);
    await app.ask({ type: 'subscribe', streams: ['gestures'] });
    await app.until((m) => m.type === 'gestures');
    glove.gestures.add('fist');
    glove.tell('gestures');
    await app.reached(() => app.of('gestures').length === 2);
    glove.sample(1000);
    glove.silence(2000, 'gone');
    await app.reached(() => app.of('gestures').some(({ valid }) => !valid));
    expect(app.of('gestures').map(({ states }) => states.fist.active)).toEqual(
      expect.arrayContaining([false, true]),
    );
    expect(app.schemaErrors).toEqual([]);
  });

  test('inputs come at once, then on change, at most at the rate asked', async () => {
    const [slow, every] = [await connect(), await connect()];
    glove.values = { '/user/hand/right/input/trigger/value': 0 };
    await slow.ask({ type: 'subscribe', streams: ['inputs'], rateHz: 20 });
    await every.ask({ type: 'subscribe', streams: ['inputs'] });
    for (let i = 1; i <= 50; i++) {
      glove.values = { '/user/hand/right/input/trigger/value': i / 50 };
      glove.tell('inputs');
    }
    await every.reached(() => every.of('inputs').length === 51);
    // The last value is never lost.
    await slow.until((m) => m.type === 'inputs' && m.values['/user/hand/right/input/trigger/value'] === 1);
    expect(slow.of('inputs').length).toBeLessThanOrEqual(3);
    expect(slow.of('inputs').map(({ seq }) => seq)).toEqual(slow.of('inputs').map((_, i) => i));
  });

  test('resistance comes on change, sixty times a second at most, events included once', async () => {
    const [one, other] = [await connect(), await connect()];
    for (const app of [one, other]) await app.ask({ type: 'subscribe', streams: ['resistance'] });
    await other.reached(() => other.of('resistance').length >= 1);
    const before = performance.now();
    glove.events.push({ timeUs: 5, reason: 'tension' });
    for (let i = 0; i < 100; i++) glove.tell('resistance');
    for (const app of [one, other]) {
      await app.until((m) => m.type === 'resistance' && m.events?.[0].reason === 'tension');
    }
    const count = one.of('resistance').length;
    expect(count).toBeLessThanOrEqual(3 + ((performance.now() - before) * 60) / 1000);
    expect(one.of('resistance').filter(({ events }) => events)).toHaveLength(1);
  });

  test('health comes at once and on change', async () => {
    const app = await connect();
    await app.ask({ type: 'subscribe', streams: ['health'] });
    await app.until((m) => m.type === 'health');
    glove.linkStatus = { state: 'lost', address: 'test' };
    glove.tell('health');
    const { channels } = (await app.until((m) => m.type === 'health' && m.link.state === 'lost')) as never;
    expect(channels).toMatchObject([{ role: 'index.curl', verdict: 'healthy' }]);
    // And without change, a second later.
    const count = app.of('health').length;
    await app.reached(() => app.of('health').length > count);
  });

  test('health of a glove whose fingers flap comes ten times a second at most, and ends with the newest', async () => {
    const app = await App.connect(stream.port);
    await app.ask({ type: 'subscribe', streams: ['health'] });
    await app.until((m) => m.type === 'health');
    const before = app.of('health').length;
    const startMs = performance.now();
    let told = 0;
    while (performance.now() - startMs < 450) {
      glove.linkStatus = { ...glove.linkStatus, address: `change ${++told}` };
      glove.tell('health');
      await new Promise(setImmediate);
    }
    await app.until((m) => m.type === 'health' && m.link.address === `change ${told}`);
    const passedMs = performance.now() - startMs;
    const came = app.of('health').length - before;
    expect(told).toBeGreaterThan(100);
    expect(came).toBeGreaterThan(1);
    expect(came).toBeLessThanOrEqual(1 + passedMs / 100);
  });
});

describe('requests', () => {
  test('reach the glove under the id of the app, and are acknowledged', async () => {
    const app = await connect();
    const stop = { fingers: { index: { stopAt: 0.5, effort: 1 } } };
    for (const message of [
      { type: 'resist', hand: 'right', ...stop },
      { type: 'touch', hand: 'right', shape: { kind: 'sphere', radius: 0.03 } },
      { type: 'pulse', hand: 'right', amplitude: 0.5, durationMs: 20 },
      { type: 'tracker', hand: 'right', position: [0, 1, 0], orientation: [0, 0, 0, 1] },
      { type: 'release', layer: 'tool' },
    ]) {
      expect(await app.ask(message)).toMatchObject({ type: 'ack', for: message.type });
    }
    expect(glove.calls.map(([name]) => name)).toEqual(['resist', 'touch', 'pulse', 'track', 'release']);
    expect(glove.calls[0].slice(1)).toEqual(['app1', expect.objectContaining(stop)]);
    expect(glove.calls[4].slice(1)).toEqual(['app1', 'tool']);
    expect(await app.ask({ type: 'ping', timeUs: 12.5 })).toMatchObject({ echoUs: 12.5 });
  });

  test('of a touch in the world say so where nobody knows where the hand is', async () => {
    const app = await connect();
    const touch = { type: 'touch', hand: 'right', shape: { kind: 'sphere', radius: 0.03 } };
    expect(await app.ask({ ...touch, space: 'world' })).toMatchObject({
      type: 'ack',
      limited: expect.stringMatching(/^Nothing is felt of it: .* Send `tracker`\.$/),
    });
    expect(await app.ask(touch)).not.toHaveProperty('limited');
    glove.frame.space = 'world';
    expect(await app.ask({ ...touch, space: 'world' })).not.toHaveProperty('limited');
    glove.frame.space = 'wrist';
  });

  test('are refused by the glove, for a hand that is not there, or for what they are', async () => {
    const app = await connect();
    glove.refusal = { code: 'disarmed', message: 'The glove is disarmed.' };
    const resist = { type: 'resist', fingers: { index: { stopAt: 0.5, effort: 1 } } };
    expect(await app.ask({ ...resist, hand: 'right' })).toMatchObject({ type: 'error', code: 'disarmed' });
    expect(await app.ask({ ...resist, hand: 'left' })).toMatchObject({ code: 'unknownHand', path: '/hand' });
    expect(await app.ask({ type: 'subscribe', hands: ['right', 'left'] })).toMatchObject({
      code: 'unknownHand',
      path: '/hands/1',
    });
    const unknown = { type: 'resist', hand: 'right', fingers: { indx: { stopAt: 0.5, effort: 1 } } };
    expect(await app.ask(unknown)).toMatchObject({ code: 'badMessage', path: '/fingers/indx' });
    app.send('{"type":"ping","timeUs":1e999,"id":"big"}');
    app.send('{"type":');
    app.ws.send(Buffer.from([1, 2, 3]));
    await app.until((m) => m.type === 'error' && m.message.includes('binary'));
    expect(app.of('error').at(-3)).toMatchObject({ id: 'big', code: 'badMessage', path: '/timeUs' });
    expect(app.of('error').at(-2)).toMatchObject({ code: 'badJson' });
    expect(await app.ask({ type: 'ping' })).toMatchObject({ type: 'ack' });
  });

  test('arm: a glove that stays disarmed is an error, not an ack', async () => {
    const app = await App.connect(stream.port, undefined, TRUSTED);
    glove.armRefusal = { code: 'disarmed', message: 'Not now.' };
    expect(await app.ask({ type: 'arm' })).toMatchObject({
      type: 'error',
      code: 'disarmed',
      message: 'Not now.',
    });
    glove.connected = false;
    expect(await app.ask({ type: 'arm', hand: 'right' })).toMatchObject({
      code: 'notSupported',
      message: 'No glove is connected for the right hand: connect it, then arm.',
    });
  });

  test('arm: the caution once a run; the change is told to everybody', async () => {
    const [one, other] = [await App.connect(stream.port, undefined, TRUSTED), await connect()];
    await other.ask({ type: 'subscribe', streams: ['resistance'] });
    expect(await one.ask({ type: 'arm' })).toMatchObject({
      armed: true,
      caution: expect.stringMatching(/pinch, burn and jam/),
    });
    await other.until((m) => m.type === 'resistance' && m.armed);
    expect(await one.ask({ type: 'disarm', hand: 'right' })).toMatchObject({ armed: false });
    await other.until(() => other.of('resistance').at(-1)?.armed === false);
    expect(await one.ask({ type: 'arm' })).not.toHaveProperty('caution');
    expect(glove.calls.map(([name, , who]) => [name, who])).toEqual([
      ['arm', 'app'],
      ['disarm', 'app'],
      ['arm', 'app'],
    ]);
  });

  test("arm: any other app is told who arms, and how; its disarm counts as the wearer's", async () => {
    const app = await connect();
    await app.ask({ type: 'subscribe', app: 'Trusted game' });
    expect(await app.ask({ type: 'arm' })).toMatchObject({
      type: 'error',
      code: 'notPermitted',
      message: 'Only the wearer arms. Wait until `armed` is true. To arm: squeeze the test glove.',
    });
    await app.ask({ type: 'disarm' });
    expect(glove.calls).toEqual([['disarm', 'Trusted game', 'wearer']]);
    expect(app.of('welcome')[0].hands[0].howToArm).toBe('squeeze the test glove');
  });
});

describe('disarm', () => {
  test('is obeyed even when the message is wrong', async () => {
    const app = await connect();
    glove.arm('test', 'wearer');
    const refused = await app.ask({ type: 'disarm', hand: 'both' });
    expect(refused).toMatchObject({ type: 'error', code: 'badMessage', path: '/hand' });
    expect(glove.armed).toBe(false);
  });

  test('is obeyed even when the app sends too much', async () => {
    await stream.close();
    stream = await serve([glove], {}, { limits: { messagesPerS: 5, excessMessages: 100 } });
    const app = await connect();
    glove.arm('test', 'wearer');
    for (let i = 0; i < 20; i++) app.send({ type: 'ping' });
    app.send({ type: 'disarm' });
    await glove.called('disarm');
    expect(app.of('error').every(({ code }) => code === 'tooMany')).toBe(true);
    expect(glove.armed).toBe(false);
  });
});

test('a fault while acting is an error for the app, not the end of the service', async () => {
  const app = await connect();
  glove.track = () => {
    throw new Error('fault');
  };
  const tracker = { type: 'tracker', hand: 'right', position: [0, 0, 0], orientation: [0, 0, 0, 1] };
  expect(await app.ask(tracker)).toMatchObject({ type: 'error', code: 'internal' });
  expect(await app.ask({ type: 'ping' })).toMatchObject({ type: 'ack' });
});

describe('two hands', () => {
  test('are told apart, and one can be asked for', async () => {
    await stream.close();
    const left = new FakeGlove('left', 100);
    stream = await serve([left, glove]);
    const [both, one] = [await connect(), await connect()];
    expect(await both.ask({ type: 'subscribe', rateHz: 400 })).toMatchObject({ rateHz: 400 });
    expect(await one.ask({ type: 'subscribe', hands: ['left'], rateHz: 400 })).toMatchObject({ rateHz: 100 });
    for (let i = 1; i <= 10; i++) {
      left.sample(i * 10_000);
      glove.sample(i * 10_000);
    }
    await both.reached(() => both.of('joints').length === 20);
    await one.reached(() => one.of('joints').length === 10);
    expect(new Set(one.of('joints').map(({ hand }) => hand))).toEqual(new Set(['left']));
    await one.ask({ type: 'release', hand: 'left' });
    expect(left.calls).toEqual([['release', 'app2', undefined]]);
    expect(glove.calls).toEqual([]);
  });
});
