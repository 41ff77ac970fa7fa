import { once } from 'node:events';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { createServer } from 'node:http';
import type { AddressInfo } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { unusedOf } from '../../src/resistance/unused.js';
import { unusedLines } from '../../src/resistance/unused-lines.js';
import { SAFETY, servo } from '../resistance/profiles.js';
import { start } from './cli.js';

const home = mkdtempSync(join(tmpdir(), 'tautline-status-'));
afterAll(() => rmSync(home, { recursive: true, force: true }));
const env = { HOME: home, XDG_CONFIG_HOME: home, XDG_DATA_HOME: home, APPDATA: home, LOCALAPPDATA: home };
const tautline = (...args: string[]) => start(args, undefined, env).outcome;

/** What `GET /health` of a service says of its gloves. */
async function statusOf(
  ...gloves: object[]
): Promise<{ lines: string[]; json: { gloves: object[] }; code: number | null }> {
  const body = JSON.stringify({ name: 'tautline', version: '9.9.9', uptimeS: 3, gloves, apps: [] });
  const server = createServer((_, response) => response.end(body)).listen(0, '127.0.0.1');
  await once(server, 'listening');
  const address = `127.0.0.1:${(server.address() as AddressInfo).port}`;
  try {
    const [said, json] = await Promise.all([
      tautline('status', '--url', address),
      tautline('status', '--url', address, '--json'),
    ]);
    expect(said.stderr).toBe('');
    return { lines: said.stdout.trimEnd().split('\n'), json: JSON.parse(json.stdout), code: said.code };
  } finally {
    server.closeAllConnections();
    server.close();
  }
}

const GLOVE = { name: 'Glove', hand: 'right', armed: false, link: { state: 'live' } };

describe.concurrent('status', { timeout: 60_000 }, () => {
  it('says which finger stays free, why, and what to do', async () => {
    const unused = [
      {
        says: 'index, ring stay free: the servo pulls up to 15 N, more than the 8 N of safety.maxTensionN.',
        remedy: 'Use a wider spool.',
      },
    ];
    const { lines, json, code } = await statusOf(
      { ...GLOVE, unused },
      { ...GLOVE, hand: 'left', unused: [] },
    );
    expect(lines.slice(-4)).toEqual([
      '  right hand: Glove, link live, disarmed',
      '    index, ring stay free: the servo pulls up to 15 N, more than the 8 N of',
      '    safety.maxTensionN. Use a wider spool.',
      '  left hand: Glove, link live, disarmed',
    ]);
    expect(json.gloves[0]).toMatchObject({ unused });
    expect(code).toBe(1);
  });

  it('says who places the hand', async () => {
    const wrist = {
      source: 'app',
      app: 'workshop',
      of: 'wrist',
      ageMs: 3.6,
      jitterMm: 0.4,
      delayBy: 'stated',
    };
    const { lines, json, code } = await statusOf(
      { ...GLOVE, wrist },
      { ...GLOVE, hand: 'left', wrist: { source: 'none', note: 'The mount is not fitted.' } },
    );
    expect(lines.slice(-5)).toEqual([
      '  right hand: Glove, link live, disarmed',
      '    Placed by workshop: 4 ms old, noise 0.4 mm.',
      '  left hand: Glove, link live, disarmed',
      '    Shown in one place: no tracker, app or motion sensor says where the hand is.',
      '    The mount is not fitted.',
    ]);
    expect(json.gloves[0]).toMatchObject({ wrist });
    expect(code).toBe(0);
  });

  it('says what is to be mended, and ends with 1 for it; with 0 for what is only to be known', async () => {
    const says = 'Bytes come, but no frames: this glove sends text.';
    const wrong = { what: 'link', state: 'wrong', says, remedy: 'Set codec.' };
    const ill = await statusOf({ ...GLOVE, troubles: [wrong] });
    expect(ill.lines.slice(-2)).toEqual([
      '  right hand: Glove, link live, disarmed',
      '    link: Bytes come, but no frames: this glove sends text. Set codec.',
    ]);
    expect(ill.code).toBe(1);
    const known = await statusOf({ ...GLOVE, troubles: [{ ...wrong, state: 'attention' }] });
    expect(known.code).toBe(0);
    expect((await statusOf(GLOVE)).code).toBe(0);
  });

  it('is what the documentation shows', async () => {
    const text = readFileSync('docs/operations.md', 'utf8');
    const shown = [...text.matchAll(/(?:^ {6}.*\n)+/gm)]
      .map(([block]) => block.replace(/^ {4}/gm, '').trimEnd())
      .filter((block) => block.startsWith('  right hand: '));
    expect(shown).toHaveLength(2);
    const hobby = (role: 'index' | 'ring') => servo(role, { torqueControl: false, spoolRadiusMm: 10 });
    const unused = unusedOf([hobby('index'), hobby('ring')], SAFETY);
    const lines = unusedLines(unused.map((why, i) => ({ role: ['index', 'ring'][i], unused: why })));
    const glove = { ...GLOVE, name: 'Strong glove' };
    const strong = await statusOf({ ...glove, unused: lines });
    const replay = await statusOf({ ...glove, link: { state: 'live', recorded: 'grasp.mcap' }, unused: [] });
    expect([strong, replay].map(({ lines }) => lines.slice(3).join('\n'))).toEqual(shown);
  });

  it('says that a recording is shown in place of the glove, and which', async () => {
    const link = { state: 'live', recorded: 'grasp.mcap' };
    const { lines, json } = await statusOf({ ...GLOVE, link, unused: [] });
    expect(lines.at(-1)).toBe(
      '  right hand: Glove, a recording is shown (grasp.mcap), no force is possible, disarmed',
    );
    expect(json.gloves[0]).toMatchObject({ recorded: 'grasp.mcap' });
  });
});

// Elsewhere no folder exists for the time of a log-in, and a service leaves no word of where it is.
describe
  .skipIf(process.platform !== 'linux')
  .concurrent('a service that was started by hand, with nothing installed', { timeout: 90_000 }, () => {
    /** Its runtime folder is its own, as that of a log-in is. */
    const login = () => ({ ...env, XDG_RUNTIME_DIR: mkdtempSync(join(home, 'run-')) });
    const folded = (text: string) => text.replace(/\n +/g, ' ');

    it('is found wherever it listens, and asked for the profile that it uses', async ({ onTestFinished }) => {
      const its = login();
      const file = join(mkdtempSync(join(home, 'own-')), 'mine.yaml');
      const text =
        'profile: 1\ngloves: [{ name: Mine, hand: left, link: { kind: simulated }, channels: [] }]\n';
      writeFileSync(file, text);
      const service = start(['run', '--profile', file, '--listen', '127.0.0.1:0'], undefined, its);
      onTestFinished(() => void service.process.kill('SIGINT'));
      const port = /127\.0\.0\.1:(\d+)\/stream/.exec(await service.said('/stream'))![1];
      const ask = (...args: string[]) => start(args, undefined, its).outcome;
      const status = await ask('status');
      expect(status.stdout).toContain(`\nprofile: ${file}\n`);
      expect(status.stdout).toContain(`at 127.0.0.1:${port}`);
      expect(status.stdout).toContain('left hand: Mine');
      expect(JSON.parse((await ask('status', '--json')).stdout)).toMatchObject({ profile: file });
      expect(folded((await ask('doctor')).stdout)).toContain(
        `fine profile: The running service uses ${file}, which is sound.`.replace('fine ', 'fine   '),
      );
      writeFileSync(file, `${text}# more\n`);
      expect((await ask('status')).stdout).toContain(`profile: ${file} (changed since`);
      // Another user's command has no key: it is given no path, and guesses none.
      const stranger = await start(['status', '--url', `127.0.0.1:${port}`], undefined, login()).outcome;
      expect(stranger.stdout).toContain('profile: only the user who runs the service is given its name');
    });

    it('says that it shows the simulated glove only where it does', async ({ onTestFinished }) => {
      const its = login();
      const service = start(['run', '--listen', '127.0.0.1:0'], undefined, its);
      onTestFinished(() => void service.process.kill('SIGINT'));
      await service.said('/stream');
      const status = await start(['status'], undefined, its).outcome;
      expect(status.stdout).toContain('profile: none; the service shows the simulated glove');
      const doctor = await start(['doctor'], undefined, its).outcome;
      expect(folded(doctor.stdout)).toContain(
        'The running service has no profile, and shows the simulated glove.',
      );
    });
  });

describe.concurrent('doctor', { timeout: 60_000 }, () => {
  const profile = (name: string, actuator: string): string => {
    const file = join(home, `${name}.yaml`);
    writeFileSync(
      file,
      `profile: 1\ngloves:\n  - name: mine\n    hand: left\n    link: { kind: simulated }\n    channels: []\n    actuators: [{ role: index, ${actuator} }]\n`,
    );
    return file;
  };
  // Where nobody listens.
  const doctor = (file: string) => tautline('doctor', '--profile', file, '--url', '127.0.0.1:1');

  it('says of a servo that is never used that it is not, and what to do, in 80 columns', async () => {
    const { code, stdout } = await doctor(profile('strong', 'spoolRadiusMm: 10'));
    expect(stdout).toMatch(
      /^look {3}forces: mine: index stays free: the servo pulls up to 15 N \(stallTorqueNm\n {7}0\.15 at/m,
    );
    expect(stdout).toContain('Use a spoolRadiusMm of 18.8 or more');
    for (const line of stdout.split('\n')) {
      if (line.startsWith('look   forces')) expect(line.length).toBeLessThanOrEqual(80);
    }
    expect(code).toBe(0);
  });

  it('asks back about a torque in kg·cm', async () => {
    const { code, stdout } = await doctor(profile('sheet', 'stallTorqueNm: 1.5'));
    expect(stdout).toMatch(/^WRONG {2}profile: .*sheet\.yaml:7:/m);
    expect(stdout.replace(/\s+/g, ' ')).toContain(
      'did you mean kg·cm, as data sheets give it? 1.5 kg·cm is 0.147 N·m',
    );
    expect(code).toBe(1);
  });
});
