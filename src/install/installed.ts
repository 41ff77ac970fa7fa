import { execFile } from 'node:child_process';
import { readFile } from 'node:fs/promises';
import { promisify } from 'node:util';
import { commandOfUnit } from './autostart.js';
import type { UserPaths } from './paths.js';
import { LAUNCHD_LABEL, TASK_NAME, UNIT_NAME } from './plan.js';

const execute = promisify(execFile);

/** What the system reports about the installed service. Undefined: not reported. */
export interface Installed {
  /** The file that starts it; undefined: it is not installed. */
  file?: string;
  /** Words of the command that starts it. */
  command?: readonly string[];
  /** Profile that the command names. */
  profile?: string;
  enabled?: boolean;
  running?: boolean;
  /** When it was started, as the system writes it. */
  since?: string;
  /** How often the system has restarted it. */
  restarts?: number;
  /** How it last ended, if with a failure. */
  trouble?: string;
}

/** Asks the file and the system. Never throws. */
export async function readInstalled(
  { starter }: UserPaths,
  uid: number,
  platform = process.platform,
): Promise<Installed> {
  const installed = await read(starter, uid, platform);
  const { command = [] } = installed;
  const at = command.indexOf('--profile') + 1;
  return at > 0 && command[at] !== undefined ? { ...installed, profile: command[at] } : installed;
}

async function read(starter: string, uid: number, platform: NodeJS.Platform): Promise<Installed> {
  const bytes = await readFile(starter).catch(() => undefined);
  if (!bytes) return {};
  const ask = async (program: string, ...words: string[]): Promise<string | undefined> =>
    execute(program, words, { timeout: 10_000, windowsHide: true }).then(
      ({ stdout }) => stdout,
      () => undefined,
    );
  switch (platform) {
    case 'linux': {
      const said = await ask('systemctl', '--user', 'show', UNIT_NAME, '--property', SYSTEMD.join(','));
      return { file: starter, command: commandOfUnit(bytes.toString('utf8')), ...systemdSays(said) };
    }
    case 'darwin': {
      const [agent, disabled] = await Promise.all([
        ask('launchctl', 'print', `gui/${uid}/${LAUNCHD_LABEL}`),
        ask('launchctl', 'print-disabled', `gui/${uid}`),
      ]);
      return {
        file: starter,
        command: commandOfAgent(bytes.toString('utf8')),
        ...launchdSays(agent, disabled),
      };
    }
    default: {
      const said = await ask('schtasks', '/Query', '/TN', TASK_NAME, '/XML');
      const command = commandOfTask(bytes.toString('utf16le'));
      // Gone from the scheduler: only our copy of the task is left.
      return said === undefined
        ? {}
        : { file: starter, command, enabled: !/<Settings>[\s\S]*<Enabled>false/.test(said) };
    }
  }
}

const SYSTEMD = ['UnitFileState', 'ActiveState', 'ActiveEnterTimestamp', 'NRestarts', 'Result'];

/** @param text `KEY=VALUE` lines of systemctl(1) show */
export function systemdSays(text: string | undefined): Installed {
  if (text === undefined) return {};
  const value = Object.fromEntries(
    text.split('\n').map((line) => [line.slice(0, line.indexOf('=')), line.slice(line.indexOf('=') + 1)]),
  );
  const running = value.ActiveState === 'active' || value.ActiveState === 'reloading';
  return {
    enabled: /^enabled/.test(value.UnitFileState ?? ''),
    running,
    ...(running && value.ActiveEnterTimestamp ? { since: value.ActiveEnterTimestamp } : {}),
    ...(value.NRestarts ? { restarts: Number(value.NRestarts) } : {}),
    ...(value.Result && value.Result !== 'success' ? { trouble: value.Result } : {}),
  };
}

/** @param agent of `launchctl print`, undefined when it is not loaded; @param disabled of `print-disabled` */
export function launchdSays(agent: string | undefined, disabled: string | undefined): Installed {
  const off = new RegExp(`"${LAUNCHD_LABEL}" => (?:true|disabled)`).test(disabled ?? '');
  const exit = /last exit code = (?!0\b|\(never)(.+)/.exec(agent ?? '')?.[1];
  return {
    enabled: !off,
    running: /^\s*state = running/m.test(agent ?? ''),
    ...(exit === undefined ? {} : { trouble: `exit code ${exit}` }),
  };
}

const fromXml = (text: string): string =>
  text
    .replaceAll('&lt;', '<')
    .replaceAll('&gt;', '>')
    .replaceAll('&quot;', '"')
    .replaceAll('&apos;', "'")
    .replaceAll('&amp;', '&');

/** Words of the command in an agent that we wrote. */
export function commandOfAgent(plist: string): string[] | undefined {
  const words = /<key>ProgramArguments<\/key>\s*<array>([\s\S]*?)<\/array>/.exec(plist)?.[1];
  return words === undefined
    ? undefined
    : [...words.matchAll(/<string>([\s\S]*?)<\/string>/g)].map(([, word]) => fromXml(word));
}

/** Words of the command in a task that we wrote. */
export function commandOfTask(xml: string): string[] | undefined {
  const command = /<Command>([\s\S]*?)<\/Command>/.exec(xml)?.[1];
  const words = /<Arguments>([\s\S]*?)<\/Arguments>/.exec(xml)?.[1];
  if (command === undefined || words === undefined) return undefined;
  return [fromXml(command), ...(fromXml(words).match(/"[^"]*"|\S+/g) ?? [])].map((word) =>
    word.replace(/^"|"$/g, ''),
  );
}
