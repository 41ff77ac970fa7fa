import { spawnSync } from 'node:child_process';
import { mkdirSync, mkdtempSync, rmSync, symlinkSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import fc from 'fast-check';
import { afterAll, describe, expect, it } from 'vitest';
import {
  type Autostart,
  runArguments as argumentsOf,
  commandOfUnit,
  launchAgent,
  scheduledTask,
  systemdUnit,
} from '../../src/install/autostart.js';
import { commandOfAgent, commandOfTask } from '../../src/install/installed.js';
import { userPaths } from '../../src/install/paths.js';
import { describeStep, installSteps, uninstallSteps } from '../../src/install/plan.js';
import { need } from '../requirements.js';
import { elementAt, parseXml, type XmlElement } from './xml.js';

const PLAIN: Autostart = { node: '/usr/bin/node', main: '/opt/tautline/dist/main.js' };
/** Everything that one of the formats gives a meaning to. */
const AWKWARD: Autostart = {
  node: '/opt/my "node" \\ 100%/$HOME/node',
  main: "/home/kim o'neil/<tautline> & co/%h $X $$ %%/main.js",
  profile: '/home/kim/größe 5; echo "#1".yaml',
  log: '/var/log/a b.log',
};

const folder = mkdtempSync(join(tmpdir(), 'tautline-unit-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));
/** A name that no text format holds without care, but every file system of the kind does. */
const anyPath = fc
  .string({ unit: 'binary', maxLength: 20 })
  .map((name) => `/${name.replace(/[\p{C}\u2028\u2029/]/gu, '')}`);

describe('systemd unit', () => {
  it('says what keeps the service running, and what it may not', () => {
    const unit = systemdUnit({ ...PLAIN, profile: '/home/kim/glove.yaml' });
    expect(unit).toContain(
      'ExecStart="/usr/bin/node" "/opt/tautline/dist/main.js" "run" "--profile" "/home/kim/glove.yaml" "--log-level" "info"\n',
    );
    for (const line of [
      'Type=notify',
      'WatchdogSec=20',
      'Restart=on-failure',
      'RestartSec=2',
      'StartLimitBurst=10',
      'NoNewPrivileges=yes',
      'WantedBy=default.target',
    ])
      expect(unit.split('\n')).toContain(line);
    // These would take serial ports or the system's bus away.
    expect(unit).not.toMatch(
      /PrivateDevices|DevicePolicy|PrivateUsers|ProtectSystem|MemoryDenyWriteExecute|PrivateNetwork/,
    );
  });

  it('doubles % and $, escapes quotes and backslashes (examples of systemd.service(5), from memory)', () => {
    expect(systemdUnit({ ...PLAIN, main: '/a %h $B "c" \\d' })).toContain(String.raw`"/a %%h $$B \"c\" \\d"`);
  });

  it('gives back the very command, whatever is in the paths', () => {
    fc.assert(
      fc.property(anyPath, anyPath, anyPath, (node, main, profile) => {
        const starter = { node, main, profile };
        expect(commandOfUnit(systemdUnit(starter))).toEqual([node, ...argumentsOf(starter)]);
      }),
      { numRuns: 200 },
    );
  });

  it('refuses a path that would break out of its line', () => {
    expect(() => systemdUnit({ ...PLAIN, profile: '/a\nExecStartPre=/bin/evil' })).toThrow(
      /control character/,
    );
  });

  it.runIf(process.platform === 'linux')(
    'is well by systemd-analyze, also with an awkward path to Node',
    () => {
      need('systemd-analyze', 'systemd');
      const awkward = join(folder, 'a b % %h é; #');
      mkdirSync(awkward);
      symlinkSync(process.execPath, join(awkward, 'node'));
      const verify = (text: string) => {
        const file = join(folder, 'tautline.service');
        writeFileSync(file, text);
        const { status, stdout, stderr } = spawnSync('systemd-analyze', ['--user', 'verify', file], {
          encoding: 'utf8',
          env: { ...process.env, XDG_RUNTIME_DIR: folder, HOME: folder },
        });
        return { status, said: `${stdout}${stderr}` };
      };
      const unit = systemdUnit({ ...AWKWARD, node: join(awkward, 'node') });
      expect(verify(unit)).toEqual({ status: 0, said: '' });
      // What systemd takes as an argument only.
      expect(verify(systemdUnit(AWKWARD))).toEqual({ status: 0, said: '' });
      // It does look: a program that is not there, and a key that is none.
      expect(verify(systemdUnit({ ...PLAIN, node: join(awkward, 'none') }))).toEqual({
        status: 1,
        said: expect.stringMatching(/not executable/),
      });
      expect(verify(unit.replace('RestartSec=', 'RestartSecs=')).said).toMatch(/RestartSecs/);
    },
  );
});

describe('launchd agent', () => {
  it('is a property list that says the same', () => {
    const agent = plist(launchAgent(AWKWARD));
    expect(agent).toEqual({
      Label: 'tautline',
      ProgramArguments: [AWKWARD.node, ...argumentsOf(AWKWARD)],
      RunAtLoad: true,
      KeepAlive: { SuccessfulExit: false },
      ThrottleInterval: 10,
      ExitTimeOut: 6,
      ProcessType: 'Interactive',
      Umask: 0o077,
    });
  });

  it('gives back the very command, whatever is in the paths', () => {
    fc.assert(
      fc.property(anyPath, anyPath, (node, main) => {
        const text = launchAgent({ node, main });
        expect(plist(text)).toMatchObject({ ProgramArguments: [node, ...argumentsOf({ node, main })] });
        expect(commandOfAgent(text)).toEqual([node, ...argumentsOf({ node, main })]);
      }),
      { numRuns: 100 },
    );
  });
});

describe('Windows task', () => {
  const starter: Autostart = {
    node: 'C:\\Program Files\\nodejs\\node.exe',
    main: 'C:\\Users\\Kim & Co\\AppData\\tautline\\dist\\main.js',
    profile: "D:\\O'Neil\\glove.yaml",
    log: 'C:\\Users\\Kim & Co\\log.txt',
  };
  const task = parseXml(scheduledTask(starter));

  it('has only elements of the task schema, in the order in which its documentation lists them', () => {
    const check = (element: XmlElement) => {
      const order = TASK_SCHEMA[element.name];
      if (element.children.length === 0) return;
      expect(order, element.name).toBeDefined();
      const places = element.children.map(({ name }) => order.indexOf(name));
      expect(places, element.name).not.toContain(-1);
      expect(places, element.name).toEqual([...new Set(places)].sort((a, b) => a - b));
      element.children.forEach(check);
    };
    expect(task.name).toBe('Task');
    expect(task.attributes).toEqual({
      version: '1.2',
      xmlns: 'http://schemas.microsoft.com/windows/2004/02/mit/task',
    });
    check(task);
  });

  it('starts the command at log-on, with no more rights than the user, for as long as it takes', () => {
    const text = (...path: string[]) => elementAt(task, path)?.text;
    expect(text('Triggers', 'LogonTrigger', 'Enabled')).toBe('true');
    expect(text('Principals', 'Principal', 'RunLevel')).toBe('LeastPrivilege');
    expect(text('Settings', 'ExecutionTimeLimit')).toBe('PT0S');
    expect(text('Settings', 'StopIfGoingOnBatteries')).toBe('false');
    expect(text('Actions', 'Exec', 'Command')).toBe(starter.node);
    expect(text('Actions', 'Exec', 'Arguments')).toBe(
      '"C:\\Users\\Kim & Co\\AppData\\tautline\\dist\\main.js" run --profile D:\\O\'Neil\\glove.yaml --log-level info --log-file "C:\\Users\\Kim & Co\\log.txt"',
    );
    expect(commandOfTask(scheduledTask(starter))).toEqual([starter.node, ...argumentsOf(starter)]);
  });

  it('is written in UTF-16 with its byte order mark, as its declaration says', () => {
    const paths = userPaths({ platform: 'win32', env: {}, home: 'C:\\k' });
    const file = installSteps('win32', paths, starter, 0).find((step) => step.kind === 'write');
    expect(file).toMatchObject({
      encoding: 'utf16le',
      text: expect.stringMatching(/^\ufeff<\?xml version="1.0" encoding="UTF-16"\?>/),
    });
  });

  it('is ended only after the fingers are free: Windows ends a task without asking it', () => {
    const paths = userPaths({ platform: 'win32', env: {}, home: 'C:\\k' });
    for (const steps of [
      installSteps('win32', paths, starter, 0),
      uninstallSteps('win32', paths, starter, 0),
    ]) {
      const said = steps.map(describeStep);
      const disarm = said.indexOf(`run ${starter.node} ${starter.main} disarm`);
      expect(disarm).toBeGreaterThan(-1);
      expect(said.indexOf('run schtasks /End /TN Tautline')).toBe(disarm + 1);
    }
  });
});

describe('the places', () => {
  it('follow each system', () => {
    // XDG Base Directory Specification: a relative path is to be ignored.
    const linux = userPaths({
      platform: 'linux',
      home: '/home/kim',
      env: { XDG_CONFIG_HOME: 'x', XDG_DATA_HOME: '/d', XDG_RUNTIME_DIR: '/tmp/mine' },
      uid: 1000,
    });
    expect(linux).toEqual({
      runtime: ['/tmp/mine/tautline', '/run/user/1000/tautline', '/home/kim/.local/state/tautline'],
      config: '/home/kim/.config/tautline',
      profile: '/home/kim/.config/tautline/glove.yaml',
      pairings: '/home/kim/.config/tautline/paired-extensions.json',
      sessions: '/d/tautline/sessions',
      log: '/home/kim/.local/state/tautline/tautline.log',
      cache: '/home/kim/.cache/tautline',
      starter: '/home/kim/.config/systemd/user/tautline.service',
    });
    const mac = userPaths({ platform: 'darwin', home: '/Users/kim', env: {} });
    expect(mac.profile).toBe('/Users/kim/Library/Application Support/Tautline/glove.yaml');
    expect(mac.starter).toBe('/Users/kim/Library/LaunchAgents/tautline.plist');
    expect(mac.cache).toBe('/Users/kim/Library/Caches/Tautline');
    const windows = userPaths({ platform: 'win32', home: 'C:\\Users\\kim', env: { APPDATA: 'D:\\roam' } });
    expect(windows.profile).toBe('D:\\roam\\Tautline\\glove.yaml');
    expect(windows.sessions).toBe('C:\\Users\\kim\\AppData\\Local\\Tautline\\sessions');
    expect(windows.cache).toBe('C:\\Users\\kim\\AppData\\Local\\Tautline\\cache');
  });

  it.each(['linux', 'darwin', 'win32'] as const)(
    '%s: what is installed is what is removed, and no more',
    (platform) => {
      const paths = userPaths({ platform, home: platform === 'win32' ? 'C:\\k' : '/k', env: {} });
      const install = installSteps(platform, paths, PLAIN, 501);
      const written = install.filter((step) => step.kind === 'write').map(({ path }) => path);
      const removed = uninstallSteps(platform, paths, PLAIN, 501).filter((step) => step.kind === 'remove');
      expect(removed.map(({ path }) => path)).toEqual(written);
      expect(written).toEqual([paths.starter]);
      for (const step of install) expect(describeStep(step)).toMatch(/^(make|write|run) /);
    },
  );
});

/** Elements of Task Scheduler's schema 1.2 in the order of its reference pages; from memory. */
const TASK_SCHEMA: Record<string, string[]> = {
  Task: ['RegistrationInfo', 'Triggers', 'Principals', 'Settings', 'Data', 'Actions'],
  RegistrationInfo: [
    'Date',
    'Author',
    'Version',
    'Description',
    'Documentation',
    'URI',
    'SecurityDescriptor',
    'Source',
  ],
  Triggers: [
    'BootTrigger',
    'RegistrationTrigger',
    'IdleTrigger',
    'TimeTrigger',
    'EventTrigger',
    'LogonTrigger',
  ],
  LogonTrigger: [
    'Enabled',
    'StartBoundary',
    'EndBoundary',
    'Repetition',
    'ExecutionTimeLimit',
    'UserId',
    'Delay',
  ],
  Principals: ['Principal'],
  Principal: ['UserId', 'LogonType', 'GroupId', 'DisplayName', 'RunLevel'],
  Settings: [
    'AllowStartOnDemand',
    'RestartOnFailure',
    'MultipleInstancesPolicy',
    'DisallowStartIfOnBatteries',
    'StopIfGoingOnBatteries',
    'AllowHardTerminate',
    'StartWhenAvailable',
    'NetworkProfileName',
    'RunOnlyIfNetworkAvailable',
    'WakeToRun',
    'Enabled',
    'Hidden',
    'DeleteExpiredTaskAfter',
    'IdleSettings',
    'NetworkSettings',
    'ExecutionTimeLimit',
    'Priority',
    'RunOnlyIfIdle',
  ],
  RestartOnFailure: ['Interval', 'Count'],
  Actions: ['Exec', 'ComHandler', 'SendEmail', 'ShowMessage'],
  Exec: ['Command', 'Arguments', 'WorkingDirectory'],
};

/** A property list as the DTD of Property List 1.0 describes it (from memory): dict is key, value, key, value. */
function plist(text: string): unknown {
  const root = parseXml(text);
  expect(root.name).toBe('plist');
  expect(root.attributes).toEqual({ version: '1.0' });
  expect(root.children).toHaveLength(1);
  const value = ({ name, text, children }: XmlElement): unknown => {
    switch (name) {
      case 'dict': {
        expect(children.length % 2).toBe(0);
        const entries: [string, unknown][] = [];
        for (let i = 0; i < children.length; i += 2) {
          expect(children[i].name).toBe('key');
          entries.push([children[i].text, value(children[i + 1])]);
        }
        return Object.fromEntries(entries);
      }
      case 'array':
        return children.map(value);
      case 'string':
        return text;
      case 'integer':
        return Number.parseInt(text, 10);
      case 'true':
      case 'false':
        return name === 'true';
      default:
        throw new Error(`<${name}> is no element of a property list`);
    }
  };
  return value(root.children[0]);
}
