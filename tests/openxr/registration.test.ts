import { existsSync, mkdirSync, mkdtempSync, readdirSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import packageJson from '../../package.json' with { type: 'json' };
import { start } from '../commands/cli.js';
import { type ServiceProcess, startServiceProcess, stopAllServices } from '../end-to-end/service.js';
import { Driver, stopAllDrivers } from './driver.js';
import { pause } from './peer.js';
import { attachGrip, endWell, input, SIMPLE } from './rig.js';

/** `tautline openxr`, as the real loader takes it; with the real service. */
let home: string;
beforeEach(() => {
  home = mkdtempSync(join(tmpdir(), 'tautline-registered-'));
});
afterEach(async () => {
  await stopAllDrivers();
  await stopAllServices();
  rmSync(home, { recursive: true, force: true });
});

const data = () => join(home, 'data');
/** For commands, services and applications alike. */
const environment = () => ({ HOME: home, XDG_DATA_HOME: data(), XDG_RUNTIME_DIR: join(home, 'run') });
const tautline = (...args: string[]) => start(args, undefined, environment()).outcome;
const application = (env: Record<string, string> = {}) =>
  Driver.start({ bare: true, runtimeFolder: join(home, 'run'), env: { XDG_DATA_HOME: data(), ...env } });
const [major, minor] = packageJson.version.split('.');
const OFF = `TAUTLINE_OPENXR_OFF_${major}_${minor}`;

async function serve(openxr = ''): Promise<ServiceProcess> {
  mkdirSync(join(home, 'run'), { recursive: true, mode: 0o700 });
  const glove = [
    '{ name: g, hand: right, link: { kind: simulated }, channels: [',
    '{ role: index.curl, open: 600, closed: 3500 }, { role: thumb.curl, open: 600, closed: 3500 },',
    '{ role: middle.curl, open: 600, closed: 3500 }] }',
  ].join(' ');
  return startServiceProcess(`profile: 1\ngloves: [${glove}]\n${openxr}`, [], environment());
}

/** Whether the loader knows the extension, which only the layer brings. */
async function hasLayer(env: Record<string, string> = {}): Promise<boolean> {
  const app = application(env);
  const { result } = await app.ask('create XR_EXT_hand_tracking');
  await app.quit();
  return result === 0;
}

describe('tautline openxr on and off', () => {
  it('are what the loader goes by, twice as once, and leave nothing', async () => {
    expect(await hasLayer()).toBe(false);
    const before = await tautline('openxr', 'status');
    expect(before.code).toBe(1);
    expect(before.stdout).toContain('Not registered');
    for (let turn = 0; turn < 2; turn++) {
      expect(await tautline('openxr', 'on')).toMatchObject({ code: 0, stderr: '' });
      expect(await hasLayer()).toBe(true);
    }
    // For one program.
    expect(await hasLayer({ [OFF]: '1' })).toBe(false);
    const status = await tautline('openxr', 'status', '--url', '127.0.0.1:1');
    expect(status).toMatchObject({ code: 0, stderr: '' });
    expect(status.stdout).toMatch(/Registered: the loader gives/);
    expect(status.stdout).toMatch(/Service: none answers at 127\.0\.0\.1:1/);
    const shadowed = await start(['openxr', 'status'], undefined, { ...environment(), [OFF]: '1' }).outcome;
    expect(shadowed.code).toBe(1);
    expect(shadowed.stdout).toContain(`${OFF} is set here`);
    expect(await tautline('openxr', 'off')).toMatchObject({ code: 0, stderr: '' });
    expect(await hasLayer()).toBe(false);
    expect(existsSync(data()) ? readdirSync(data(), { recursive: true }) : []).toEqual([]);
    expect((await tautline('openxr', 'off')).code).toBe(0);
  });

  it('say in one line what keeps them', async () => {
    writeFileSync(data(), 'a file where a folder should be');
    const { code, stderr } = await tautline('openxr', 'on');
    expect(code).toBe(6);
    expect(stderr.trim().split('\n')).toHaveLength(1);
    expect(stderr).toMatch(/cannot be made/);
  });

  it('a dry run does nothing', async () => {
    const { stdout } = await tautline('openxr', 'on', '--dry-run');
    expect(stdout).toMatch(/would write .*XrApiLayer_tautline_glove\.json/);
    expect(existsSync(data())).toBe(false);
  });
});

describe('applications that loaded the layer', () => {
  const listed = async (service: ServiceProcess) =>
    (await (await fetch(`http://127.0.0.1:${service.port}/openxr`)).json()).applications;
  const until = async <T>(ask: () => Promise<T>, fits: (answer: T) => boolean): Promise<T> => {
    for (let i = 0; ; i++) {
      const answer = await ask();
      if (fits(answer)) return answer;
      if (i > 400) throw new Error(`stays ${JSON.stringify(answer)}`);
      await pause(25);
    }
  };

  it('say who they are and what serves each hand; the service keeps them when they have left', async () => {
    await tautline('openxr', 'on');
    const service = await serve();
    const app = application();
    await app.world(`controller right ${SIMPLE}`, 'grip right 0 1 0 0 0 0 1');
    await app.open('XR_EXT_hand_tracking');
    await app.do('tracker right right', 'tracker left left');
    await attachGrip(app);
    const frame = () => app.do('frames 1', 'sync game', 'hands right local', 'hands left local');
    const [one] = await until(
      async () => {
        for (let i = 0; i < 30; i++) await frame();
        return listed(service);
      },
      ([first]) => first?.hands[1]?.fingers === 'glove',
    );
    expect(one).toMatchObject({ program: 'driver', served: true, focused: true, layer: packageJson.version });
    expect(one.app).toContain('driver "of" tests');
    expect(one.runtime.length).toBeGreaterThan(3);
    expect(one.runtimeVersion).toMatch(/^\d+\.\d+\.\d+$/);
    expect(one.hands).toEqual([
      {
        hand: 'left',
        fingers: 'nobody',
        wrist: 'nobody',
        inputs: false,
        why: 'The profile has no glove for the left hand.',
      },
      { hand: 'right', fingers: 'glove', wrist: 'controller', inputs: false, ageUs: expect.any(Number) },
    ]);
    // The simulated glove gives a sample every 4 ms.
    expect(one.hands[1].ageUs).toBeLessThan(20_000);
    // The controller that carries the wrist goes out.
    await app.world('controller right off');
    const lost = await until(
      async () => {
        for (let i = 0; i < 30; i++) await frame();
        return (await listed(service))[0];
      },
      ({ hands }) => hands[1]?.fingers === 'nobody',
    );
    expect(lost.hands[1].why).toMatch(/^Nothing says where the wrist is: turn on the controller/);
    const status = await tautline('openxr', 'status', '--url', `127.0.0.1:${service.port}`);
    expect(status.code).toBe(0);
    const said = status.stdout.replace(/\s+/g, ' ');
    expect(said).toMatch(/\(driver\) over .*, since 20/);
    expect(said).toContain('right: no hand. Nothing says where the wrist is');
    await app.do('destroy');
    const left = await until(
      () => listed(service),
      ([first]) => first.until !== undefined,
    );
    expect(left).toHaveLength(1);
    await app.quit();
  });

  it.each([
    ['deny', 'openxr: { deny: [other, Driver.exe] }'],
    ['not allow', 'openxr: { allow: [other] }'],
  ])('one that the profile does %s runs as if no service were there', async (_how, profile) => {
    await tautline('openxr', 'on');
    const service = await serve(profile);
    const record = async (env: Record<string, string>) => {
      const app = application(env);
      await app.world(`controller right ${SIMPLE}`, 'grip right 0 1 0 0 0 0 1');
      const answers: unknown[] = [];
      for (const command of [
        'create XR_EXT_hand_tracking',
        'system',
        'session',
        'begin',
        'poll',
        'reference local local',
        'tracker right right',
        'set game 0',
        'action game fire float left right',
        `suggest ${SIMPLE} fire ${input('right', 'select/click')}`,
        'attach game',
        'sync game',
        'get fire right',
      ]) {
        const { changedAt: _now, ...answer } = await app.ask(command);
        answers.push([command, answer]);
        // Time for whatever a service might say.
        if (command.startsWith('create') || command === 'attach game') await pause(150);
      }
      return { app, answers };
    };
    const denied = await record({});
    const without = await record({
      XDG_RUNTIME_DIR: join(home, 'nobody'),
      TAUTLINE_STREAM: 'ws://127.0.0.1:1/stream',
    });
    expect(denied.answers).toEqual(without.answers);
    // No hands: a runtime without its own would have them only by the glove.
    expect(denied.answers).toContainEqual(['tracker right right', expect.objectContaining({ result: -8 })]);
    const [one] = await until(
      () => listed(service),
      (all) => all.length > 0,
    );
    expect(one).toMatchObject({ program: 'driver', served: false, hands: [] });
    const { apps } = await (await fetch(`http://127.0.0.1:${service.port}/health`)).json();
    expect(apps.map(({ streams }: { streams: string[] }) => streams)).toEqual([[]]);
    await endWell(denied.app);
    await endWell(without.app);
  });

  it('one that the profile allows by name is served', async () => {
    await tautline('openxr', 'on');
    await serve('openxr: { allow: [DRIVER], deny: [other] }');
    const app = application();
    await app.open('XR_EXT_hand_tracking');
    expect((await app.do('tracker right right')).result).toBe(0);
    await endWell(app);
  });

  it('one that is denied and finds the service by its address is refused by the service', async () => {
    await tautline('openxr', 'on');
    const service = await serve('openxr: { deny: [driver] }');
    const app = application({ TAUTLINE_STREAM: `ws://127.0.0.1:${service.port}/stream` });
    await app.open('XR_EXT_hand_tracking');
    const [one] = await until(
      () => listed(service),
      (all) => all.length > 0,
    );
    expect(one.served).toBe(false);
    await app.do('frames 5');
    expect((await app.ask('tracker right right')).result).toBe(-8);
    await endWell(app);
  });
});
