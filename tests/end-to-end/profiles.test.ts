import { readdirSync, readFileSync } from 'node:fs';
import { afterEach, describe, expect, it } from 'vitest';
import { parseProfile } from '../../src/config/load.js';
import type { GloveProfile } from '../../src/config/schema.js';
import { FINGER_BASE, JOINT_NAMES } from '../../src/hand/joints.js';
import type { ServerMessageOf } from '../../src/protocol/messages.js';
import { type HostGlove, startHostGlove } from '../firmware/host-glove.js';
import { startTextGlove, type TextGlove } from '../link/text-glove.js';
import type { App } from '../stream/app.js';
import { type ServiceProcess, startServiceProcess, stopAllServices } from './service.js';

const quits: (() => Promise<unknown>)[] = [];
afterEach(async () => {
  await stopAllServices();
  await Promise.all(quits.splice(0).map((quit) => quit()));
});

const yamlOf = (name: string): string =>
  readFileSync(new URL(`../../config/${name}`, import.meta.url), 'utf8');
const gloveOf = (name: string): GloveProfile => parseProfile(yamlOf(name), name).gloves[0];

/** The firmware with the channels and actuators of a profile, each channel with the profile's counts. */
async function gloveLike({ hand, channels, actuators }: GloveProfile): Promise<HostGlove> {
  const glove = await startHostGlove([
    '--hand',
    hand,
    '--bits',
    '16',
    '--rate',
    '200',
    '--channels',
    channels.map(({ role }) => role).join(','),
    '--actuators',
    actuators.map(({ role, kind }) => `${role}:${kind}`).join(','),
  ]);
  quits.push(() => glove.quit());
  for (const { role, open, closed } of channels) await glove.command(`range ${role} ${open} ${closed}`);
  return glove;
}

async function startWith(name: string, port?: string): Promise<{ service: ServiceProcess; app: App }> {
  const service = await startServiceProcess(yamlOf(name), port === undefined ? [] : ['--port', port]);
  const app = await service.connect();
  await app.ask({ type: 'subscribe', streams: ['joints', 'health', 'inputs'], rateHz: 50 });
  return { service, app };
}

const newest = (app: App): ServerMessageOf<'joints'> | undefined => app.of('joints').at(-1);
const tracked = async (app: App): Promise<void> => {
  await app.reached(() => {
    const joints = newest(app);
    return joints?.valid === true && Object.values(joints.fingers).every((state) => state === 'tracked');
  });
  expect(app.schemaErrors).toEqual([]);
};

/** Flexion of a joint against the one before it, degrees. */
function flexionDeg({ poses }: ServerMessageOf<'joints'>, joint: number): number {
  const [, , , px, py, pz, pw] = poses[joint - 1];
  const [, , , cx, cy, cz, cw] = poses[joint];
  return (
    (-2 * Math.atan2(pw * cx - px * cw - py * cz + pz * cy, pw * cw + px * cx + py * cy + pz * cz) * 180) /
    Math.PI
  );
}

/** A text glove that prints the middle of each channel's range in the columns of its profile. */
async function textGloveOf(profile: GloveProfile): Promise<TextGlove> {
  const { codec, channels } = profile;
  if (codec.kind !== 'lines') throw new Error('not a text glove');
  const middle = new Map(
    channels.map(({ role, open, closed }) => [role as string, Math.round((open + closed) / 2)]),
  );
  const glove = await startTextGlove((ms) =>
    codec.columns
      .map((column) => {
        if (column === 'timeMs') return ms;
        if (column === 'buttons') return 0;
        if (column === 'batteryMv') return 3912;
        if (column === 'skip') return 'n/a';
        return middle.get(column)! + (ms % 7);
      })
      .join(codec.separator),
  );
  quits.push(() => glove.quit());
  return glove;
}

/** What has a test of its own below, by file. */
const STARTED: Record<string, () => Promise<void>> = {
  async 'simulated.yaml'() {
    const { service, app } = await startWith('simulated.yaml');
    await tracked(app);
    await service.stop();
    expect((await service.outcome).stderr).not.toContain('is closed');
  },

  async 'simulated-hands.yaml'() {
    const { app } = await startWith('simulated-hands.yaml');
    await tracked(app);
    await app.reached(() =>
      ['left', 'right'].every((side) => app.of('joints').some(({ hand, valid }) => hand === side && valid)),
    );
  },

  async 'five-curl.yaml'() {
    const glove = await gloveLike(gloveOf('five-curl.yaml'));
    const { app } = await startWith('five-curl.yaml', glove.pty);
    await tracked(app);
    await glove.command('ramp index.curl 0.9 300');
    await app.reached(() => flexionDeg(newest(app)!, FINGER_BASE[1] + 2) > 45);
  },

  async 'curl-splay-stick.yaml'() {
    const glove = await textGloveOf(gloveOf('curl-splay-stick.yaml'));
    const { service, app } = await startWith('curl-splay-stick.yaml', glove.pty);
    await tracked(app);
    expect(newest(app)!.hand).toBe('left');
    await service.stop();
    expect(glove.heard).toContain('S 0 0 0 0');
  },

  async 'text-lines.yaml'() {
    const glove = await textGloveOf(gloveOf('text-lines.yaml'));
    const { service, app } = await startWith('text-lines.yaml', glove.pty);
    await tracked(app);
    await app.reached(() => app.of('health').at(-1)?.batteryMv === 3912);
    const free = 'W 2196 654 654 654 654';
    await glove.hears((line) => line === free);
    expect((await service.arm('right')).body).toMatchObject({ armed: true });
    expect(
      await app.ask({ type: 'pulse', hand: 'right', finger: 'index', amplitude: 1, durationMs: 50 }),
    ).toMatchObject({ type: 'error', code: 'notSupported' });
    expect(
      await app.ask({
        type: 'resist',
        hand: 'right',
        fingers: { index: { stopAt: 0.8, effort: 1 } },
        ttlMs: 200,
      }),
    ).toMatchObject({ type: 'ack' });
    // The stop comes from the free end; the others stay paid out. It is not renewed: freed again, three times.
    const held = await glove.hears((line) => /^W 2196 (?!654 )\d+ 654 654 654$/.test(line));
    const from = glove.heard.indexOf(held);
    await app.reached(() => glove.heard.slice(from).filter((line) => line === free).length >= 3);
    const before = glove.heard.length;
    await service.stop();
    expect(glove.heard.slice(before).filter((line) => line === free)).toHaveLength(3);
    expect((await service.outcome).stderr).not.toContain('is closed');
  },

  async 'joint-sensors.yaml'() {
    const glove = await gloveLike(gloveOf('joint-sensors.yaml'));
    for (const [axis, value] of [
      ['qx', 0],
      ['qy', Math.SQRT1_2],
      ['qz', 0],
      ['qw', Math.SQRT1_2],
    ] as const) {
      await glove.command(`set wrist.${axis} ${(1 + value) / 2}`);
    }
    await glove.command('battery 3712');
    const { service, app } = await startWith('joint-sensors.yaml', glove.pty);
    await tracked(app);

    // One sensor moves one joint.
    const [mcp, pip, dip] = [1, 2, 3].map((joint) => FINGER_BASE[1] + joint);
    await glove.command('ramp index.pip 0.5 300');
    await app.reached(() => Math.abs(flexionDeg(newest(app)!, pip) - 50) < 2);
    expect(Math.abs(flexionDeg(newest(app)!, mcp))).toBeLessThan(2);
    expect(Math.abs(flexionDeg(newest(app)!, dip))).toBeLessThan(2);
    await glove.command('ramp index.dip 0.5 300');
    await app.reached(() => Math.abs(flexionDeg(newest(app)!, dip) - 45) < 2);

    // The hand is turned by 90 degrees about +Y: its -Z, along the fingers, points to -X.
    const wrist = newest(app)!.poses[JOINT_NAMES.indexOf('wrist')];
    for (const [i, value] of [0, Math.SQRT1_2, 0, Math.SQRT1_2].entries()) {
      expect(wrist[3 + i]).toBeCloseTo(value, 2);
    }
    await app.reached(() => app.of('health').at(-1)?.batteryMv === 3712);

    // A brake holds a finger that goes past the stop, and the motor under it is another actuator.
    interface Output {
      free: boolean;
      effort: number;
      writes: number;
    }
    const brake = () => glove.ask<Output>('servo 1');
    const motor = () => glove.ask<Output>('servo 4');
    expect((await service.arm('right')).body).toMatchObject({ armed: true });
    const resist = {
      type: 'resist',
      hand: 'right',
      fingers: { index: { stopAt: 0.1, effort: 1 } },
      ttlMs: 1000,
    };
    const renew = setInterval(() => app.send(resist), 100);
    try {
      while ((await brake()).effort === 0);
    } finally {
      clearInterval(renew);
    }
    expect((await motor()).effort).toBe(0);
    await app.ask({ type: 'release', hand: 'right' });
    while ((await brake()).effort > 0);

    // A pulse: half the strength, 300 ms at 10 Hz, so on and off three times.
    const { writes } = await motor();
    const pulse = {
      type: 'pulse',
      hand: 'right',
      finger: 'index',
      amplitude: 0.5,
      durationMs: 300,
      frequencyHz: 10,
    };
    expect(await app.ask(pulse)).toMatchObject({ type: 'ack' });
    const efforts = new Set<number>();
    let after = await motor();
    for (const until = performance.now() + 1000; performance.now() < until; after = await motor())
      efforts.add(after.effort);
    expect([...efforts].sort((a, b) => a - b)).toEqual([0, 127]);
    expect(after).toMatchObject({ free: true, effort: 0, writes: writes + 6 });
    expect(app.schemaErrors).toEqual([]);
  },
};

describe('every profile that comes with the program', () => {
  // It takes a radio, so ble.test.ts starts it.
  const files = readdirSync(new URL('../../config', import.meta.url)).filter(
    (name) => name.endsWith('.yaml') && name !== 'bluetooth.yaml',
  );
  it.each(files)('%s runs with a glove like it', async (name) => {
    expect(Object.keys(STARTED)).toContain(name);
    await STARTED[name]();
  });
});
