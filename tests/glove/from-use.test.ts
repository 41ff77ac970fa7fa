import Fastify, { type FastifyInstance } from 'fastify';
import { beforeAll, describe, expect, it, onTestFinished } from 'vitest';
import { fromUseLines } from '../../src/commands/fit-from-use.js';
import { openFits } from '../../src/config/fit-file.js';
import { statusLines } from '../../src/doctor/status.js';
import { addFromUseRoutes, type FromUseAnswer } from '../../src/glove/from-use-routes.js';
import type { LiveGlove } from '../../src/glove/glove.js';
import { addGuideRoutes } from '../../src/glove/guide-routes.js';
import { createEverydayWearer } from '../guide/from-use/everyday-wearer.js';
import { CURL_ROLES } from '../sensing/glove-signals.js';
import { createSyntheticGlove } from '../sensing/synthetic-glove.js';
import { gloveOnLink, HELLO, heardBy } from './glove-on-link.js';

const RATE_HZ = 100;
const hello = () => ({
  ...HELLO,
  sampleRateHz: RATE_HZ,
  channels: CURL_ROLES.map((role) => ({ role, bits: 12 })),
  actuators: [...HELLO.actuators],
});

/** A glove that is worn for so long, and its routes. @param wearer whether requests come from the wearer's own tools */
async function worn(seconds: number, wearer = true) {
  const fits = openFits(undefined);
  const rig = gloveOnLink({ kind: 'frames' }, { channels: CURL_ROLES, fits });
  const sensors = createSyntheticGlove({
    seed: 6,
    roles: CURL_ROLES,
    bits: 12,
    strings: false,
    bow: 0.06,
    hysteresis: 0.01,
    noise: 0.0005,
  });
  const person = createEverydayWearer({ seed: 6 });
  const frames = heardBy({});
  const counts = new Uint16Array(5);
  rig.live.start();
  rig.say(frames.hello(hello()));
  for (let t = 0; t < seconds * RATE_HZ; t++) {
    sensors.read(person.at(t / RATE_HZ), counts);
    rig.say(frames.samples((t * 1e6) / RATE_HZ, 0, counts, 5));
    await rig.clock.advance(1000 / RATE_HZ);
  }
  const app: FastifyInstance = Fastify();
  app.decorateRequest('wearer', wearer);
  addGuideRoutes(app, [rig.live]);
  addFromUseRoutes(app, [rig.live]);
  const ask = async (method: 'GET' | 'POST', url: string) => {
    const answer = await app.inject({ method, url });
    return {
      status: answer.statusCode,
      ...(answer.json() as FromUseAnswer & { code?: string; message?: string }),
    };
  };
  return { ...rig, fits, app, ask };
}

/** Of the range that the glove uses. */
const rangeOf = (live: LiveGlove, role: string) => {
  const { open, closed } = live.description.channels.find((channel) => channel.role === role)!;
  return [open, closed];
};

describe('a glove that is worn', () => {
  let glove: Awaited<ReturnType<typeof worn>>;
  beforeAll(async () => {
    glove = await worn(125);
    return () => glove.app.close();
  }, 60_000);

  it('offers what it has learned, in status and over HTTP, and takes it only when the wearer says so', async () => {
    const { live, fits, ask } = glove;
    // By itself, between other work.
    await expect.poll(() => live.readFromUse()?.channels).toEqual([...CURL_ROLES]);
    const offer = live.readFromUse()!;
    expect(offer.differsDeg).toBeGreaterThan(3 * offer.uncertaintyDeg);
    const before = CURL_ROLES.map((role) => rangeOf(live, role));
    const found = await ask('GET', '/fits/from-use');
    expect(found).toMatchObject({ status: 200, hand: 'right', glove: 'g', missing: [] });
    expect(found.channels).toHaveLength(5);
    expect(fits.entries).toEqual([]);
    expect(CURL_ROLES.map((role) => rangeOf(live, role))).toEqual(before);
    const lines = fromUseLines(found);
    for (const line of lines) expect(line.length).toBeLessThanOrEqual(80);
    expect(lines.join('\n')).toMatch(/^Seen: \d+ s of motion\.\n\nchannel .*\nthumb\.curl +\d+ +\d+ /);
    const shown = statusLines({
      installed: true,
      starter: 's',
      system: {},
      running: true,
      address: 'a',
      gloves: [
        { name: 'g', hand: 'right', state: 'live', armed: false, unused: [], troubles: [], fitOffer: offer },
      ],
    });
    expect(shown.join('\n')).toMatch(
      /fit: your motion shows that thumb\.curl, .* are off by up to \d+ degrees \(known to \d\)/,
    );

    live.arm('test', 'wearer');
    const taken = await ask('POST', '/fits/from-use?person=Kim');
    expect(taken.status).toBe(200);
    expect(live.armed).toBe(false);
    for (const { role, open, closed } of found.channels) {
      expect(rangeOf(live, role).map((x) => Math.round(x!))).toEqual([open!, closed!].map(Math.round));
    }
    expect(fits.entries).toMatchObject([
      { person: 'Kim', fromUse: true, channels: found.channels.map(({ role }) => ({ role })) },
    ]);
    // Against what is in use now there is nothing more to say.
    expect(await ask('GET', '/fits/from-use')).toMatchObject({ channels: [], asInUse: [...CURL_ROLES] });
    expect(live.readFromUse()).toBeUndefined();
    expect(await ask('POST', '/fits/from-use')).toMatchObject({ status: 409, code: 'notSupported' });

    await ask('POST', '/fits/undo');
    expect(CURL_ROLES.map((role) => rangeOf(live, role))).toEqual(before);
    expect((await ask('GET', '/fits/from-use')).channels).toHaveLength(5);
    // Another wearer's motion is not this one's.
    await ask('POST', '/guide/stop');
    live.learner.outdated(true);
    expect(live.learner.seconds()).toBe(0);
    expect((await ask('GET', '/fits/from-use')).channels).toEqual([]);
  });
});

it('an app does not take a fit into use', async () => {
  const { ask, app, fits } = await worn(1, false);
  onTestFinished(() => app.close());
  expect(await ask('POST', '/fits/from-use')).toMatchObject({ status: 403, code: 'notPermitted' });
  expect(fits.entries).toEqual([]);
});

it.each([
  [undefined, 0.2],
  [0.4, 0],
])('a fit’s dead zone of the stick counts in place of the profile’s: %s', async (stickDeadZone, pushed) => {
  const fits = openFits(undefined);
  const stick = (role: 'stick.x' | 'stick.y') =>
    ({ role, bits: 12, open: 0, closed: 4000, centre: 2000, residualDeg: 0, poses: 3 }) as const;
  fits.add({
    savedAt: '2030-01-01T00:00:00.000Z',
    person: 'Kim',
    glove: 'g',
    hand: 'right',
    channels: [stick('stick.x'), stick('stick.y')],
    residualDeg: 0,
    ...(stickDeadZone === undefined ? {} : { stickDeadZone }),
  });
  const channels = ['stick.x', 'stick.y'] as const;
  const rig = gloveOnLink({ kind: 'frames' }, { channels, fits });
  const frames = heardBy({});
  rig.live.start();
  rig.say(
    frames.hello({
      ...HELLO,
      sampleRateHz: RATE_HZ,
      channels: channels.map((role) => ({ role, bits: 12 })),
      actuators: [...HELLO.actuators],
    }),
  );
  for (let t = 0; t < 100; t++) {
    rig.say(frames.samples((t * 1e6) / RATE_HZ, 0, Uint16Array.of(2600, 2000), 2));
    await rig.clock.advance(1000 / RATE_HZ);
  }
  const { values } = rig.live.readInputs();
  // 600 of 2000 counts; with 0.12 of that dead, (0.3 - 0.12) / 0.88.
  expect(values['/user/hand/right/input/thumbstick/x']).toBeCloseTo(pushed, 1);
});
