import { once } from 'node:events';
import { chmodSync, existsSync, mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { createServer } from 'node:http';
import type { AddressInfo } from 'node:net';
import { tmpdir } from 'node:os';
import { delimiter, join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it, onTestFinished } from 'vitest';
import packageJson from '../../package.json' with { type: 'json' };
import { commandOfUnit } from '../../src/install/autostart.js';
import { start } from './cli.js';

/**
 * A user's home of its own, and in place of systemd's user manager, which no test can have, a program that notes
 * what it is asked. That the unit is right is judged by systemd itself, in tests/install/autostart.test.ts.
 */
let home: string;
let env: Record<string, string>;
const unit = () => join(home, 'config', 'systemd', 'user', 'tautline.service');
const asked = () =>
  existsSync(join(home, 'asked')) ? readFileSync(join(home, 'asked'), 'utf8').trim().split('\n') : [];

beforeEach(() => {
  home = mkdtempSync(join(tmpdir(), "tautline o'home %h "));
  mkdirSync(join(home, 'bin'));
  // What is only asked, for `status`, is answered from a file; what is done is noted.
  systemctl('case "$*" in *--property*) cat "$TAUTLINE_STATE"; exit;; esac; echo "$@" >> "$TAUTLINE_ASKED"');
  env = {
    HOME: home,
    XDG_CONFIG_HOME: join(home, 'config'),
    XDG_DATA_HOME: join(home, 'data'),
    PATH: `${join(home, 'bin')}${delimiter}${process.env.PATH}`,
    TAUTLINE_ASKED: join(home, 'asked'),
    TAUTLINE_STATE: join(home, 'state'),
  };
});
afterEach(() => rmSync(home, { recursive: true, force: true }));

function systemctl(script: string): void {
  writeFileSync(join(home, 'bin', 'systemctl'), `#!/bin/sh\n${script}\n`);
  chmodSync(join(home, 'bin', 'systemctl'), 0o755);
}
const tautline = (...args: string[]) => start(args, undefined, env).outcome;
/** A glove without hardware at an address where nobody listens. */
function profile(file: string, port = 1): string {
  mkdirSync(join(file, '..'), { recursive: true });
  const glove = '{ name: g, hand: left, link: { kind: simulated }, channels: [] }';
  writeFileSync(file, `profile: 1\ngloves: [${glove}]\nstream: { port: ${port} }\n`);
  return file;
}

// Each starts the command several times: seconds, on a busy machine.
describe.runIf(process.platform === 'linux')('install, status and uninstall', { timeout: 120_000 }, () => {
  it('installs, says each thing, and does nothing new the second time; uninstalling leaves what is the user’s', async () => {
    const mine = profile(join(home, 'config', 'tautline', 'glove.yaml'));
    const first = await tautline('install');
    expect(first).toMatchObject({ code: 0, stderr: '' });
    expect(first.stdout).toContain(`write ${unit()}\n`);
    expect(first.stdout).toContain(`Its profile: ${mine};`);
    expect(first.stdout).toMatch(/sudo cp .*70-tautline\.rules \/etc\/udev\/rules\.d\//);
    expect(existsSync(/sudo cp (.*) \/etc/.exec(first.stdout)![1])).toBe(true);
    expect(commandOfUnit(readFileSync(unit(), 'utf8'))).toEqual([
      process.execPath,
      expect.stringMatching(/dist\/main\.js$/),
      'run',
      '--log-level',
      'info',
    ]);
    const done = [
      '--user show-environment',
      '--user daemon-reload',
      '--user enable tautline.service',
      '--user restart tautline.service',
    ];
    expect(asked()).toEqual(done);

    const once = readFileSync(unit(), 'utf8');
    expect((await tautline('install')).code).toBe(0);
    expect(readFileSync(unit(), 'utf8')).toBe(once);
    expect(asked()).toEqual([...done, ...done]);

    const fits = join(home, 'config', 'tautline', 'glove.fits.json');
    writeFileSync(fits, '{}');
    expect(await tautline('uninstall')).toMatchObject({ code: 0, stderr: '' });
    expect(asked()).toContain('--user disable --now tautline.service');
    expect([unit(), mine, fits, join(home, 'data', 'tautline', 'sessions')].map(existsSync)).toEqual([
      false,
      true,
      true,
      true,
    ]);
    expect(await tautline('uninstall')).toMatchObject({ code: 0, stderr: '' });
  });

  it('--dry-run shows everything and does nothing', async () => {
    const { code, stdout } = await tautline('install', '--dry-run');
    expect(code).toBe(0);
    expect(stdout).toContain('would run systemctl --user restart tautline.service');
    expect(stdout).toContain('    WatchdogSec=20');
    expect(existsSync(unit())).toBe(false);
    expect(existsSync(join(home, 'data'))).toBe(false);
    expect(asked()).toEqual([]);
  });

  it('keeps the profile that it was installed with, refuses a broken one', async () => {
    const mine = profile(join(home, 'my glove.yaml'));
    expect(await tautline('install', '--profile', mine)).toMatchObject({ code: 0 });
    expect(await tautline('install')).toMatchObject({ code: 0 });
    expect(commandOfUnit(readFileSync(unit(), 'utf8'))).toContain(mine);
    writeFileSync(mine, 'profile: 1\ngloves: []\n');
    const { code, stderr } = await tautline('install');
    expect(code).toBe(3);
    expect(stderr).toContain(`${mine}:2:9: gloves must have at least 1 item`);
  });

  it('writes nothing where there is no user manager, and says what to do', async () => {
    systemctl('echo "Failed to connect to bus: No medium found" >&2; exit 1');
    const { code, stderr } = await tautline('install');
    expect(code).toBe(1);
    expect(stderr).toMatch(
      /^tautline: systemctl --user show-environment failed: Failed to connect to bus: No medium found\. Without systemd for users/,
    );
    expect(existsSync(unit())).toBe(false);
  });

  it('status tells another program at the address from nothing', async () => {
    const other = createServer((_, response) => response.end('<html>')).listen(0, '127.0.0.1');
    await once(other, 'listening');
    const address = `127.0.0.1:${(other.address() as AddressInfo).port}`;
    const { code, stdout } = await tautline('status', '--url', address);
    other.close();
    expect(code).toBe(1);
    expect(stdout).toContain(`running: no, another program answers at ${address}\n`);
  });

  it('status asks the system and the service itself', async () => {
    // Not the usual address: whoever runs the tests may have a service there.
    const none = await tautline('status', '--url', '127.0.0.1:1');
    expect(none.code).toBe(1);
    expect(none.stdout).toMatch(/^installed: no; /);

    const service = start(['run', '--listen', '127.0.0.1:0'], undefined, env);
    onTestFinished(() => void service.process.kill());
    const port = Number(/:(\d+)\/stream/.exec(await service.said('/stream'))![1]);
    const mine = profile(join(home, 'config', 'tautline', 'glove.yaml'), port);
    await tautline('install');
    writeFileSync(
      join(home, 'state'),
      'UnitFileState=enabled\nActiveState=active\nActiveEnterTimestamp=Wed 2031-05-07 09:12:01 UTC\nNRestarts=2\nResult=success\n',
    );
    // It was started before there was a profile, and says so.
    expect((await tautline('status')).stdout.split('\n').slice(1, 3)).toEqual([
      'profile: none; the service shows the simulated glove',
      `  at the next start: ${mine}`,
    ]);
    service.process.kill('SIGTERM');
    await service.outcome;
    const restarted = start(['run'], undefined, env);
    onTestFinished(() => void restarted.process.kill());
    await restarted.said('/stream');
    const { code, stdout } = await tautline('status');
    expect(code).toBe(0);
    expect(stdout.split('\n').slice(0, 4)).toEqual([
      `installed: starts at log-in (${unit()})`,
      `profile: ${mine}`,
      'system: since Wed 2031-05-07 09:12:01 UTC, restarted 2 times',
      expect.stringMatching(
        new RegExp(
          `^running: version ${packageJson.version} at 127\\.0\\.0\\.1:${port}, up for \\d+ s, 0 apps$`,
        ),
      ),
    ]);
    const json = JSON.parse((await tautline('status', '--json')).stdout);
    expect(json).toMatchObject({
      installed: true,
      system: { enabled: true, running: true, restarts: 2 },
      profile: mine,
      running: true,
      version: packageJson.version,
    });
    restarted.process.kill('SIGTERM');
    await restarted.outcome;
  });
});

describe('run without --profile', { timeout: 60_000 }, () => {
  it('takes the profile of the configuration folder, and says so', async () => {
    const mine = profile(join(home, 'config', 'tautline', 'glove.yaml'));
    const service = start(['run', '--listen', '127.0.0.1:0'], undefined, env);
    onTestFinished(() => void service.process.kill());
    const said = await service.said('Tautline is');
    expect(said).toMatch(/\(1 glove: left, simulated\)/);
    expect(said).toContain(`The profile is ${mine}\n`);
    service.process.kill('SIGTERM');
    expect((await service.outcome).code).toBe(0);
  });
});
