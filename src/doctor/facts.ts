import { execFile } from 'node:child_process';
import { constants, existsSync } from 'node:fs';
import { access, readdir, readFile, realpath, stat, statfs } from 'node:fs/promises';
import { userInfo } from 'node:os';
import { basename, dirname, join } from 'node:path';
import { promisify } from 'node:util';
import { EXAMPLES } from '../config/load.js';
import type { LinkProfile, Profile } from '../config/schema.js';
import type { Installed } from '../install/installed.js';
import { readRegistration } from '../install/openxr-registration.js';
import type { UserPaths } from '../install/paths.js';
import { listPorts, type PortInfo } from '../link/list-ports.js';
import { addressOf, isUsb } from '../link/open-link.js';
import { findHolders } from '../link/port-holders.js';
import { cautionsOf } from '../resistance/cautions.js';
import type { Facts } from './doctor.js';
import { askHealth, type InUse, type Situation } from './status.js';

const runProgram = promisify(execFile);

export interface FactsOptions {
  paths: UserPaths;
  version: string;
  /** What is installed, and the profile in use. */
  here: Situation;
  /** GET /health of the service. */
  health: URL;
  token?: string | undefined;
  /** Of a running service. */
  inUse?: InUse | undefined;
}

/** Queries the system for all that the doctor looks at. Never throws: what cannot be found out is omitted. */
export async function gatherFacts(options: FactsOptions): Promise<Facts> {
  const { paths, version, here, health, token, inUse } = options;
  const wanted = here.data?.gloves.some(({ link }) => link.kind === 'ble') === true;
  return {
    platform: process.platform,
    nodeVersion: process.version,
    version,
    examples: EXAMPLES,
    profile: {
      path: here.profile,
      ...(here.trouble ? { problem: here.trouble } : {}),
      ...(inUse ? { inUse } : {}),
    },
    cautions: here.data ? cautionsOf(here.data) : [],
    ports: await portsOf(),
    gloveLinks: here.data ? await gloveLinksOf(here.data) : [],
    ...(await groupsOf()),
    service: await serviceAt(health, token),
    installed: installedAt(here.installed, paths.starter),
    ...(process.platform === 'linux'
      ? { lingers: existsSync(`/var/lib/systemd/linger/${userInfo().username}`) }
      : {}),
    folders: await Promise.all([paths.config, paths.sessions].map(folderAt)),
    bluetooth: { wanted, ...(wanted ? await bluetoothProblem() : {}) },
    openxr: await readRegistration(),
    power: await powerOf(),
  };
}

async function portsOf(): Promise<Facts['ports']> {
  const found = await listPorts().catch(() => []);
  const holders = await findHolders(found.map(({ path }) => path)).catch(() => new Map<string, string[]>());
  return Promise.all(
    found.map(async ({ path, vendor }) => {
      const permitted = await access(path, constants.R_OK | constants.W_OK).then(
        () => true,
        () => process.platform === 'win32',
      );
      return {
        path,
        usb: vendor !== undefined,
        permitted,
        heldBy: holders.get(path) ?? [],
        ...(await adapterOf(path)),
      };
    }),
  );
}

/** Serial links that name a port. One that names none is looked for on all. */
async function gloveLinksOf({ gloves }: Profile): Promise<Facts['gloveLinks']> {
  const found = await listPorts().catch(() => []);
  return Promise.all(
    gloves.flatMap(({ name, link }) => {
      if (link.kind !== 'serial' || (link.path === undefined && link.usb === undefined)) return [];
      return [portIsThere(link, found).then((there) => ({ glove: name, wants: addressOf(link), there }))];
    }),
  );
}

async function portIsThere(
  { path, usb }: Extract<LinkProfile, { kind: 'serial' }>,
  found: readonly PortInfo[],
): Promise<boolean> {
  if (path === undefined) return found.some((port) => isUsb(port, usb ?? {}));
  // A pseudo-terminal is in no list, and a Windows port is no file.
  if (found.some((port) => port.path === path || port.stablePath === path)) return true;
  return process.platform !== 'win32' && existsSync(path);
}

/** Linux: what sysfs reports about the adapter. */
async function adapterOf(path: string): Promise<{ latencyTimerMs?: number; autosuspends?: boolean }> {
  if (process.platform !== 'linux') return {};
  const name = basename(path);
  const text = (file: string) =>
    readFile(file, 'utf8').then(
      (all) => all.trim(),
      () => undefined,
    );
  const timer = await text(`/sys/bus/usb-serial/devices/${name}/latency_timer`);
  let device = await realpath(`/sys/class/tty/${name}/device`).catch(() => '');
  let control: string | undefined;
  for (let up = 0; up < 4 && device && control === undefined; up++) {
    if (existsSync(join(device, 'idVendor'))) control = await text(join(device, 'power', 'control'));
    device = dirname(device);
  }
  return {
    ...(timer === undefined ? {} : { latencyTimerMs: Number(timer) }),
    ...(control === undefined ? {} : { autosuspends: control === 'auto' }),
  };
}

async function groupsOf(): Promise<Pick<Facts, 'portGroups' | 'userGroups'>> {
  if (process.platform !== 'linux') return { portGroups: [], userGroups: [] };
  const all = await readFile('/etc/group', 'utf8').catch(() => '');
  const named = all.split('\n').map((line) => line.split(':')[0]);
  const userGroups = await runProgram('id', ['-nG']).then(
    ({ stdout }) => stdout.trim().split(/\s+/),
    () => [],
  );
  return { portGroups: ['dialout', 'uucp'].filter((group) => named.includes(group)), userGroups };
}

async function serviceAt(health: URL, token: string | undefined): Promise<Facts['service']> {
  const answer = await askHealth(health, token);
  if (answer.state !== 'running') return answer;
  const { version, gloves } = answer.health;
  return {
    state: 'running',
    version,
    address: health.host,
    gloves: gloves.map(({ name, hand, troubles = [], unused = [] }) => ({ name, hand, troubles, unused })),
  };
}

function installedAt({ file, command = [] }: Installed, starter: string): Facts['installed'] {
  const programExists = command.some((word) => word.endsWith('main.js') && existsSync(word));
  return { starter: file ?? starter, exists: file !== undefined, programExists };
}

/** The folder, or the nearest one above that exists. */
async function folderAt(path: string): Promise<Facts['folders'][number]> {
  let nearest = path;
  while (!existsSync(nearest) && dirname(nearest) !== nearest) nearest = dirname(nearest);
  const writable =
    (await stat(nearest).catch(() => undefined))?.isDirectory() === true &&
    (await access(nearest, constants.W_OK).then(
      () => true,
      () => false,
    ));
  const disk = await statfs(nearest).catch(() => undefined);
  return { path, writable, freeBytes: disk && disk.bavail * disk.bsize };
}

async function powerOf(): Promise<Facts['power']> {
  if (process.platform === 'darwin') {
    const said = await runProgram('pmset', ['-g']).then(
      ({ stdout }) => stdout,
      () => '',
    );
    const minutes = /^\s*sleep\s+(\d+)/m.exec(said)?.[1];
    return minutes === undefined ? {} : { sleepsAfterMin: Number(minutes) };
  }
  if (process.platform !== 'linux') return {};
  const root = '/sys/class/power_supply';
  const supplies = await readdir(root).catch(() => []);
  const states = await Promise.all(
    supplies
      .filter((name) => /^BAT/.test(name))
      .map((name) => readFile(join(root, name, 'status'), 'utf8').catch(() => '')),
  );
  return states.length === 0 ? {} : { onBattery: states.some((state) => state.trim() === 'Discharging') };
}

async function bluetoothProblem(): Promise<{ problem?: string }> {
  try {
    await import('webbluetooth');
    return {};
  } catch (error) {
    return { problem: `Bluetooth cannot be used: ${String((error as Error).message).split('\n')[0]}` };
  }
}
