import { posix, win32 } from 'node:path';
import { type Autostart, launchAgent, scheduledTask, systemdUnit } from './autostart.js';
import type { UserPaths } from './paths.js';

/** One step of an installation. The steps that are shown are the steps that are taken. */
export type Step =
  | { kind: 'folder'; path: string }
  | { kind: 'write'; path: string; text: string; encoding?: 'utf16le' }
  | { kind: 'remove'; path: string }
  /** A folder that is removed if nothing is in it. */
  | { kind: 'prune'; path: string }
  /** @property mayFail there may be nothing to undo */
  | { kind: 'run'; command: string; args: string[]; mayFail?: boolean };

export const TASK_NAME = 'Tautline';
export const UNIT_NAME = 'tautline.service';
export const LAUNCHD_LABEL = 'tautline';

const systemctl = (...args: string[]): Step => ({
  kind: 'run',
  command: 'systemctl',
  args: ['--user', ...args],
});
const may = (step: Step): Step => (step.kind === 'run' ? { ...step, mayFail: true } : step);

/** Windows ends a task without warning, so the fingers are freed first, not by the glove's own watchdog alone. */
const endTask = ({ node, main }: Autostart): Step[] => [
  may({ kind: 'run', command: node, args: [main, 'disarm'] }),
  may({ kind: 'run', command: 'schtasks', args: ['/End', '/TN', TASK_NAME] }),
];

/** Installing twice is the same as once: the service is restarted with what is true now. */
export function installSteps(
  platform: NodeJS.Platform,
  paths: UserPaths,
  autostart: Autostart,
  uid: number,
): Step[] {
  const { dirname } = platform === 'win32' ? win32 : posix;
  const folders: Step[] = [paths.config, paths.sessions, dirname(paths.starter)].map((path) => ({
    kind: 'folder',
    path,
  }));
  if (platform === 'win32') {
    return [
      ...folders,
      // schtasks reads UTF-16 with a byte order mark.
      { kind: 'write', path: paths.starter, text: `\ufeff${scheduledTask(autostart)}`, encoding: 'utf16le' },
      { kind: 'run', command: 'schtasks', args: ['/Create', '/TN', TASK_NAME, '/XML', paths.starter, '/F'] },
      ...endTask(autostart),
      { kind: 'run', command: 'schtasks', args: ['/Run', '/TN', TASK_NAME] },
    ];
  }
  if (platform === 'darwin') {
    return [
      ...folders,
      { kind: 'folder', path: dirname(paths.log) },
      { kind: 'write', path: paths.starter, text: launchAgent(autostart) },
      may({ kind: 'run', command: 'launchctl', args: ['bootout', `gui/${uid}/${LAUNCHD_LABEL}`] }),
      { kind: 'run', command: 'launchctl', args: ['bootstrap', `gui/${uid}`, paths.starter] },
    ];
  }
  return [
    // Ends with an error where there is no systemd for users: then nothing is left behind.
    systemctl('show-environment'),
    ...folders,
    { kind: 'write', path: paths.starter, text: systemdUnit(autostart) },
    systemctl('daemon-reload'),
    systemctl('enable', UNIT_NAME),
    systemctl('restart', UNIT_NAME),
  ];
}

/** Profiles, fits, sessions and logs stay. */
export function uninstallSteps(
  platform: NodeJS.Platform,
  paths: UserPaths,
  autostart: Autostart,
  uid: number,
): Step[] {
  if (platform === 'win32') {
    return [
      ...endTask(autostart),
      may({ kind: 'run', command: 'schtasks', args: ['/Delete', '/TN', TASK_NAME, '/F'] }),
      { kind: 'remove', path: paths.starter },
    ];
  }
  if (platform === 'darwin') {
    return [
      may({ kind: 'run', command: 'launchctl', args: ['bootout', `gui/${uid}/${LAUNCHD_LABEL}`] }),
      { kind: 'remove', path: paths.starter },
    ];
  }
  return [
    may(systemctl('disable', '--now', UNIT_NAME)),
    { kind: 'remove', path: paths.starter },
    may(systemctl('daemon-reload')),
    may(systemctl('reset-failed', UNIT_NAME)),
  ];
}

/** One line for people. */
export function describeStep(step: Step): string {
  switch (step.kind) {
    case 'folder':
      return `make the folder ${step.path}`;
    case 'write':
      return `write ${step.path}`;
    case 'remove':
      return `remove ${step.path}`;
    case 'prune':
      return `remove ${step.path} if it is empty`;
    case 'run':
      return `run ${[step.command, ...step.args].join(' ')}`;
  }
}
