import { describe, expect, it } from 'vitest';
import { openFits } from '../../src/config/fit-file.js';
import type { Feel } from '../../src/resistance/wearer-feel.js';
import { gloveOnLink, HELLO, heardBy } from './glove-on-link.js';

const TORQUE_DRIVE = [{ role: 'index', torqueControl: true }];
const LINES = {
  kind: 'lines',
  columns: ['thumb.curl', 'index.curl'],
  output: '{index.stop} {index.effort}',
};
const STEP_MS = 4;

/** A glove whose index finger is where the test wants it, led by `me`, and what it was told. */
async function rig(codec?: object, actuators: readonly object[] = TORQUE_DRIVE, leave?: { heard: boolean }) {
  const { live, clock, say, written } = gloveOnLink(codec, { actuators });
  const frames = !codec;
  let curl = 0;
  let t = 0;
  const efforts: number[] = [];
  const glove = heardBy({
    resist: ({ efforts: asked }) => void efforts.push(asked[0]),
    release: () => void efforts.push(0),
  });
  let heard = 0;
  const told = () => {
    for (; heard < written.length; heard++) if (frames) glove.push(written[heard].bytes);
    return efforts.at(-1) ?? 0;
  };
  live.start();
  async function pass(ms: number, to = curl): Promise<void> {
    const [from, until] = [curl, t + ms];
    const begunAt = t;
    while (t < until) {
      t += STEP_MS;
      curl = from + ((to - from) * (t - begunAt)) / ms;
      const counts = Math.round(500 + 3000 * curl) + ((t / STEP_MS) % 2);
      if (frames) say(glove.samples(t * 1000, 0, Uint16Array.of(900 + (t % 8), counts), 2));
      else say(new TextEncoder().encode(`${900 + (t % 8)},${counts}\n`));
      if (leave?.heard !== false) live.feel.heardOf('me');
      await clock.advance(STEP_MS);
    }
    told();
  }
  if (frames) say(glove.hello({ ...HELLO, channels: [...HELLO.channels], actuators: [...HELLO.actuators] }));
  await pass(600);
  const begin = (what: Feel, a: number, b: number, rounds = 1) => {
    expect(live.feel.trouble(what, 'index', a, b)).toBeUndefined();
    live.feel.start({ what, finger: 'index', a, b, rounds, person: 'Kim' }, { id: 'me', name: 'a test' });
  };
  const arm = (who: 'wearer' | 'app' = 'wearer') => live.arm('test', who);
  return { live, clock, pass, told, efforts, begin, arm, written };
}

describe('a trial of how forces feel', () => {
  it('asks for nothing until the wearer has armed, then for what is shown, and disarms at its end', async () => {
    const { live, pass, told, begin, arm } = await rig();
    begin('effort', 0.3, 0.9);
    await pass(1200, 0.5);
    expect(told()).toBe(0);
    expect(live.feel.read().trial?.felt).toEqual({ first: false, second: false });
    expect(arm('app')?.message).toMatch(/which only the wearer arms/);
    await pass(800, 0);
    expect(arm()).toBeUndefined();
    await pass(1200, 0.5);
    await pass(600);
    const first = told();
    expect(first).toBeGreaterThan(0);
    expect(live.feel.read().trial?.felt).toEqual({ first: true, second: false });
    // Nothing in what is shown says which it is.
    expect(JSON.stringify(live.feel.read())).not.toMatch(/0\.3|0\.9|"a"|"b"/);
    live.feel.show('second');
    await pass(800);
    const second = told();
    const [less, more] = [Math.min(first, second), Math.max(first, second)];
    // The wire's effort is of the stall tension: 0.15 N·m over 20 mm is 7.5 N, below the cap of 8.
    expect(less / 255).toBeCloseTo(0.3, 1);
    expect(more / 255).toBeCloseTo(0.9, 1);
    expect(live.feel.choose(second === less ? 'second' : 'first')).toBeUndefined();
    expect(live.feel.found).toMatchObject({ person: 'Kim', revealed: { preferred: 'a' } });
    await pass(40);
    expect(live.armed).toBe(false);
    expect(told()).toBe(0);
  });

  it('hears no app meanwhile, and lets them be heard afterwards', async () => {
    const { live, pass, begin, arm } = await rig();
    begin('effort', 0.3, 0.9);
    await pass(400);
    arm();
    const resist = { type: 'resist', hand: 'right', fingers: { index: { stopAt: 0.3, effort: 1 } } } as const;
    expect(live.resist('an app', { ...resist })?.message).toMatch(/The wearer tries/);
    live.feel.stop('Enough.');
    expect(live.armed).toBe(false);
    await pass(400);
    arm();
    expect(live.resist('an app', { ...resist })).toBeUndefined();
  });

  it('ends when its leader is gone, and nobody stays held', async () => {
    const leave = { heard: true };
    const { live, pass, told, begin, arm } = await rig(undefined, TORQUE_DRIVE, leave);
    begin('stiffness', 100, 400);
    await pass(400);
    arm();
    await pass(1200, 0.5);
    await pass(400);
    expect(told()).toBeGreaterThan(0);
    leave.heard = false;
    await pass(2000);
    expect(live.feel.read()).toMatchObject({
      state: 'stopped',
      reason: 'Nothing was heard of a test, which led it.',
    });
    expect(live.armed).toBe(false);
    expect(told()).toBe(0);
  });

  it('outlives a stall of samples, during which nobody is held, and ends when the glove stays silent', async () => {
    const { live, clock, pass, told, begin, arm } = await rig();
    const silence = async (ms: number) => {
      for (let t = 0; t < ms; t += 100) {
        live.feel.heardOf('me');
        await clock.advance(100);
      }
      return told();
    };
    begin('effort', 0.3, 0.9);
    await pass(400);
    arm();
    await pass(1200, 0.5);
    expect(told()).toBeGreaterThan(0);
    expect(await silence(500)).toBe(0);
    expect(live.feel.running()).toBe(true);
    await silence(3000);
    expect(live.feel.read()).toMatchObject({ state: 'stopped', reason: 'The glove fell silent.' });
    expect(live.armed).toBe(false);
  });

  it('is forgotten when nobody arms it for two minutes', async () => {
    const { live, clock, pass, begin, arm } = await rig();
    begin('effort', 0.3, 0.9);
    await pass(118_000);
    expect(live.feel.running()).toBe(true);
    await pass(4000);
    expect(live.feel.read().reason).toMatch(/not armed within two minutes/);
    expect(arm()).toBeUndefined();
    expect(clock.nowUs()).toBeGreaterThan(0);
    await pass(1200, 0.5);
    expect(live.readResistance().fingers.index?.effort ?? 0).toBe(0);
  });

  it('is forgotten likewise when it was armed, and disarmed for two minutes', async () => {
    const { live, pass, begin, arm } = await rig();
    begin('effort', 0.3, 0.9);
    await pass(400);
    expect(arm()).toBeUndefined();
    await pass(1200, 0.5);
    live.disarm('the wearer', 'wearer');
    await pass(118_000);
    expect(live.feel.running()).toBe(true);
    await pass(4000);
    expect(live.feel.read().reason).toMatch(/not armed within two minutes/);
  });

  it('begins lightly where effort is not what is compared', async () => {
    const { pass, told, begin, arm } = await rig();
    begin('stiffness', 2000, 4000);
    await pass(400);
    arm();
    await pass(1200, 0.52);
    await pass(400);
    // 3 of 7.5 N.
    expect(told() / 255).toBeGreaterThan(0.1);
    expect(told() / 255).toBeLessThanOrEqual(0.41);
  });

  it('lets go at once when the wearer disarms, and goes on when armed again', async () => {
    const { live, pass, told, begin, arm } = await rig();
    begin('texture', 0.2, 0.8);
    await pass(400);
    arm();
    await pass(1200, 0.5);
    expect(told()).toBeGreaterThan(0);
    live.disarm('test', 'wearer');
    expect(told()).toBe(0);
    await pass(800, 0);
    expect(told()).toBe(0);
    expect(live.feel.running()).toBe(true);
    arm();
    await pass(1200, 0.5);
    expect(told()).toBeGreaterThan(0);
  });

  it('pays out the slack of a text glove only while armed, and then as before', async () => {
    const { live, pass, begin, arm, written } = await rig(LINES, [
      { role: 'index', slack: 0.05, stopAtClosed: 0.6 },
    ]);
    const line = () => new TextDecoder().decode(written.at(-1)?.bytes).trim();
    begin('slack', 0.1, 0.3);
    await pass(400);
    arm();
    await pass(1200, 0.95);
    await pass(400);
    expect(live.feel.read().trial?.felt.first).toBe(true);
    const paidOut = [line()];
    live.feel.show('second');
    await pass(400);
    paidOut.push(line());
    expect(paidOut.sort()).toEqual(['0.66 0', '0.78 0']);
    live.feel.choose('same');
    await pass(200);
    // Free: paid out by 0.05 beyond the closed finger, of a way of 0.6.
    expect(line()).toBe('0.63 0');
    expect(live.feel.found?.revealed.chosen).toEqual({ a: 0, b: 0, same: 1 });
  });

  it.each<[string, Feel, number, number, readonly object[], RegExp, object?]>([
    [
      'an effort that is not heeded',
      'effort',
      0.3,
      0.9,
      [{ role: 'index' }],
      /holds with all it has or not at all/,
    ],
    ['what cannot be told apart', 'stiffness', 200, 230, TORQUE_DRIVE, /too near each other/],
    [
      'a finger without an actuator',
      'effort',
      0.3,
      0.9,
      [{ role: 'thumb', torqueControl: true }],
      /Nothing acts on the index/,
    ],
    ['slack with our firmware', 'slack', 0.1, 0.3, TORQUE_DRIVE, /pins\.h/],
    [
      'slack with a release line that is always the same',
      'slack',
      0.1,
      0.3,
      [{ role: 'index' }],
      /no field that could pay/,
      { ...LINES, release: 'S 0' },
    ],
  ])('is refused for %s', async (_, what, a, b, actuators, why, codec = undefined) => {
    const { live } = await rig(codec, actuators);
    expect(live.feel.trouble(what, 'index', a, b)).toMatch(why);
  });
});

it('what was kept counts for its wearer alone, and undoing goes back', () => {
  const fits = openFits(undefined);
  const base = { savedAt: '2026-01-01T00:00:00Z', glove: 'g', hand: 'right' as const };
  fits.add({ ...base, person: 'Kim', feel: { tried: 'effort', chosen: [3, 1], effort: 0.4 } });
  fits.add({ ...base, person: 'Robin', feel: { tried: 'knock', chosen: [4, 0], knock: 0.5 } });
  expect(fits.current('g', 'right').feel?.feel).toMatchObject({ knock: 0.5 });
  fits.person = 'Kim';
  expect(fits.current('g', 'right').feel?.feel).toMatchObject({ effort: 0.4 });
  expect(fits.current('g', 'left').feel).toBeUndefined();
  fits.undo('g', 'right');
  expect(fits.current('g', 'right').feel).toBeUndefined();
});
