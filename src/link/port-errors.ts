import { readFile, stat } from 'node:fs/promises';
import { TautlineError } from '../errors.js';
import { describePort, listPorts, type PortInfo } from './list-ports.js';
import { findHolders } from './port-holders.js';

/** What explaining a failure needs to know of the machine; tests put their own here. */
export interface Surroundings {
  platform: NodeJS.Platform;
  listPorts(): Promise<PortInfo[]>;
  /** Names of the programs that have the port open, as far as permitted to know. */
  holders(path: string): Promise<string[]>;
  /** Group that owns the device file. */
  groupOf(path: string): Promise<string | undefined>;
}

/** Explains why a port could not be opened: the driver's words in, what to do out. */
export async function explainOpenFailure(
  path: string,
  cause: unknown,
  surroundings: Surroundings = thisMachine,
): Promise<TautlineError> {
  const words = cause instanceof Error ? cause.message : String(cause);
  const windows = surroundings.platform === 'win32';
  if (/no such file|no such device|file not found|ENOENT|ENXIO/i.test(words)) {
    const ports = await surroundings.listPorts();
    const present =
      ports.length > 0
        ? `Ports here: ${ports.map(describePort).join('; ')}.`
        : 'There is no serial port here at all: check that the cable carries data and the driver is loaded.';
    return new TautlineError('portMissing', `${path} does not exist.`, present, { cause });
  }
  if (/cannot lock|busy|EBUSY|EAGAIN/i.test(words) || (windows && /access denied|EACCES/i.test(words))) {
    const holders = await surroundings.holders(path);
    const by = holders.length > 0 ? `is held by ${holders.join(' and ')}` : 'is held by another program';
    return new TautlineError(
      'portBusy',
      `${path} ${by}.`,
      'Close it there (a serial monitor or a second copy of this service, perhaps).',
      { cause },
    );
  }
  if (/permission denied|access denied|EACCES|EPERM|not permitted/i.test(words)) {
    const group = await surroundings.groupOf(path);
    const remedy =
      group && group !== 'root'
        ? `Join its group with: sudo usermod -aG ${group} "$USER", then log in again.`
        : 'Give yourself access with a udev rule or the rights of the device file.';
    return new TautlineError('portDenied', `No permission to open ${path}.`, remedy, { cause });
  }
  if (/inappropriate ioctl|ENOTTY|not a typewriter/i.test(words))
    return new TautlineError(
      'portFailed',
      `${path} is not a serial port.`,
      'Correct the path in the profile.',
      {
        cause,
      },
    );
  const reason = words.replace(/^Error:?\s*/, '').replace(/[.\s]*$/, '');
  return new TautlineError('portFailed', `${path} cannot be opened: ${reason}.`, undefined, { cause });
}

const thisMachine: Surroundings = {
  platform: process.platform,
  listPorts: () => listPorts(),
  holders: async (path) => (await findHolders([path])).get(path) ?? [],
  groupOf,
};

async function groupOf(path: string): Promise<string | undefined> {
  const id = (await stat(path).catch(() => undefined))?.gid;
  if (id === undefined) return undefined;
  const groups = await readFile('/etc/group', 'utf8').catch(() => '');
  return groups
    .split('\n')
    .map((line) => line.split(':'))
    .find(([, , gid]) => gid === String(id))?.[0];
}
