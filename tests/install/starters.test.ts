import { spawnSync } from 'node:child_process';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { userPaths } from '../../src/install/paths.js';
import { describeStep, installSteps, uninstallSteps } from '../../src/install/plan.js';
import { launchAgent, runArguments, scheduledTask, systemdUnit } from '../../src/install/starters.js';
import { need } from '../requirements.js';

const ODD = {
  node: '/opt/my node/bin/node',
  main: '/home/kim & co/100% "best" $HOME\\x/main.js',
  profile: '/home/kim & co/glove <1>.yaml',
};
const folder = mkdtempSync(join(tmpdir(), 'tautline-starters-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe('what a system starts the service by', () => {
  it.runIf(process.platform === 'linux')('is a unit that systemd takes', () => {
    need('systemd-analyze', 'systemd');
    const unit = join(folder, 'tautline.service');
    writeFileSync(unit, systemdUnit({ node: process.execPath, main: '/opt/tautline/main.js' }));
    const { stdout, stderr } = spawnSync('systemd-analyze', ['verify', '--user', '--man=no', unit], {
      encoding: 'utf8',
      env: { ...process.env, XDG_RUNTIME_DIR: folder },
    });
    // It also complains of what other units of this machine have.
    const own = `${stdout}${stderr}`.split('\n').filter((line) => line.includes('tautline'));
    expect(own).toEqual([]);
  });

  // systemd.service(5): in quotes, with C escapes; `%` and `$` stand for themselves when doubled.
  it('quotes odd paths for systemd', () => {
    const command = /^ExecStart=(.*)$/m.exec(systemdUnit(ODD))?.[1] ?? '';
    expect(command).toMatch(/^\/usr\/bin\/env "/);
    const words = [...command.matchAll(/"((?:\\.|[^"\\])*)"/g)].map(([, word]) =>
      word.replace(/\\(.)/g, '$1').replaceAll('%%', '%').replaceAll('$$', '$'),
    );
    expect(words).toEqual([ODD.node, ...runArguments(ODD)]);
  });

  it('is an agent that is well-formed XML with every word in its place', () => {
    const plist = launchAgent({ ...ODD, log: '/Users/kim/Library/Logs/tautline.log' });
    const parsed = spawnSync(
      'python3',
      ['-c', 'import json,plistlib,sys; print(json.dumps(plistlib.loads(sys.stdin.buffer.read())))'],
      { input: plist, encoding: 'utf8' },
    );
    expect(parsed.stderr).toBe('');
    expect(JSON.parse(parsed.stdout)).toMatchObject({
      Label: 'tautline',
      ProgramArguments: [ODD.node, ...runArguments({ ...ODD, log: '/Users/kim/Library/Logs/tautline.log' })],
      RunAtLoad: true,
      KeepAlive: { SuccessfulExit: false },
    });
  });

  // Order of elements: Task Scheduler schema (settingsType and taskType are sequences), from memory.
  it('is a task with its elements in order, and words that Windows takes apart as they were', () => {
    const starter = {
      node: 'C:\\Program Files\\nodejs\\node.exe',
      main: 'C:\\a b\\main.js',
      profile: 'D:\\x\\g "1".yaml',
    };
    const task = scheduledTask(starter);
    const top = [...task.matchAll(/^ {2}<(\w+)/gm)].map(([, name]) => name);
    expect(top).toEqual(['RegistrationInfo', 'Triggers', 'Principals', 'Settings', 'Actions']);
    const parsed = spawnSync(
      'python3',
      [
        '-c',
        'import sys,xml.etree.ElementTree as e; n="{http://schemas.microsoft.com/windows/2004/02/mit/task}"; t=e.fromstring(sys.stdin.read().split("?>",1)[1]); print(t.find(f".//{n}Command").text); print(t.find(f".//{n}Arguments").text)',
      ],
      { input: task, encoding: 'utf8' },
    );
    expect(parsed.stderr).toBe('');
    const [command, words] = parsed.stdout.trim().split(/\r?\n/);
    expect(command).toBe(starter.node);
    expect(words).toBe('"C:\\a b\\main.js" run --profile "D:\\x\\g \\"1\\".yaml" --log-level info');
  });
});

describe('the places', () => {
  it('follow each system', () => {
    // XDG Base Directory Specification: a relative path is to be ignored.
    const linux = userPaths({
      platform: 'linux',
      home: '/home/kim',
      env: { XDG_CONFIG_HOME: 'x', XDG_DATA_HOME: '/d' },
    });
    expect(linux).toEqual({
      config: '/home/kim/.config/tautline',
      profile: '/home/kim/.config/tautline/glove.yaml',
      sessions: '/d/tautline/sessions',
      log: '/home/kim/.local/state/tautline/tautline.log',
      starter: '/home/kim/.config/systemd/user/tautline.service',
    });
    const mac = userPaths({ platform: 'darwin', home: '/Users/kim', env: {} });
    expect(mac.profile).toBe('/Users/kim/Library/Application Support/Tautline/glove.yaml');
    expect(mac.starter).toBe('/Users/kim/Library/LaunchAgents/tautline.plist');
    const windows = userPaths({ platform: 'win32', home: 'C:\\Users\\kim', env: { APPDATA: 'D:\\roam' } });
    expect(windows.profile).toBe('D:\\roam\\Tautline\\glove.yaml');
    expect(windows.sessions).toBe('C:\\Users\\kim\\AppData\\Local\\Tautline\\sessions');
  });

  it.each(['linux', 'darwin', 'win32'] as const)(
    '%s: what is installed is what is removed, and no more',
    (platform) => {
      const paths = userPaths({ platform, home: platform === 'win32' ? 'C:\\k' : '/k', env: {} });
      const install = installSteps(platform, paths, ODD, 501);
      const written = install.filter((step) => step.kind === 'write').map(({ path }) => path);
      const removed = uninstallSteps(platform, paths, 501).filter((step) => step.kind === 'remove');
      expect(removed.map(({ path }) => path)).toEqual(written);
      expect(written).toEqual([paths.starter]);
      for (const step of install) expect(describeStep(step)).toMatch(/^(make|write|run) /);
    },
  );
});
