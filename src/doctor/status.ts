import { existsSync } from 'node:fs';
import { resolve } from 'node:path';
import { urlHost } from '../config/address.js';
import type { Profile } from '../config/schema.js';
import { TautlineError } from '../errors.js';
import type { FitOffer, Trouble } from '../glove/view.js';
import { type Installed, readInstalled } from '../install/installed.js';
import { type UserPaths, userPaths } from '../install/paths.js';
import type { FirmwareReport } from '../protocol/firmware-versions.js';
import { type WristReport, wristLine, wristNotes } from '../protocol/wrist-report.js';
import type { UnusedLine } from '../resistance/unused-lines.js';

/** What is installed here, and where its service should answer. */
export interface Situation {
  installed: Installed;
  /** The profile in use; undefined: the simulated one that comes with the program. */
  profile?: string;
  /** What is wrong with it. */
  trouble?: string;
  /** The profile itself, when it is sound. */
  data?: Profile;
  /** Address of the service that the profile describes, and its token. */
  url: string;
  token?: string;
}

/** Never throws. @param named profile, instead of the one of the installed service or of the configuration folder */
export async function situation(named?: string, paths: UserPaths = userPaths()): Promise<Situation> {
  const installed = await readInstalled(paths, process.getuid?.() ?? 0);
  const profile = named ?? installed.profile ?? (existsSync(paths.profile) ? paths.profile : undefined);
  if (profile === undefined) return { installed, url: addressOf({ host: '127.0.0.1', port: 7117 }) };
  const { loadProfile } = await import('../config/load.js');
  try {
    const data = await loadProfile(profile);
    const { token } = data.stream;
    return {
      installed,
      profile,
      data,
      url: addressOf(data.stream),
      ...(token === undefined ? {} : { token }),
    };
  } catch (error) {
    const trouble = error instanceof TautlineError ? error.line : String(error);
    return { installed, profile, trouble, url: addressOf({ host: '127.0.0.1', port: 7117 }) };
  }
}

/** A service that listens everywhere is here as well. */
const addressOf = ({ host, port }: { host: string; port: number }): string =>
  `http://${urlHost(host === '0.0.0.0' || host === '::' ? '127.0.0.1' : host)}:${port || 7117}`;

/** What the running service was started with; unknown: only its own user may know, or it is an older version. */
export type InUse =
  | { kind: 'file'; file: string; changed: boolean }
  | { kind: 'simulated' | 'recording' | 'unknown' };

/** Asks the running service. Never throws. @param headers with the wearer's key, where it is to be had */
export async function profileInUse(service: URL, headers: Record<string, string>): Promise<InUse> {
  const url = new URL('/profile/in-use', service);
  const response = await fetch(url, { headers, signal: AbortSignal.timeout(3000) }).catch(() => undefined);
  const answer = response?.ok ? ((await response.json().catch(() => undefined)) as object) : undefined;
  const { kind, file, changed } = { ...answer } as { kind?: string; file?: string; changed?: boolean };
  if (kind === 'file' && typeof file === 'string') return { kind, file, changed: changed === true };
  return { kind: kind === 'simulated' || kind === 'recording' ? kind : 'unknown' };
}

/**
 * What a service shows is in the profile that it was started with, whatever is installed.
 * @param named what the user asked about, which stands
 */
export async function situationInUse(
  here: Situation,
  inUse: InUse | undefined,
  named: string | undefined,
): Promise<Situation> {
  if (named !== undefined || inUse === undefined || inUse.kind === 'unknown') return here;
  const { installed, url, token } = here;
  const where = { installed, url, ...(token === undefined ? {} : { token }) };
  if (inUse.kind !== 'file') return where;
  if (here.profile !== undefined && resolve(here.profile) === inUse.file) return here;
  return { ...(await situation(inUse.file)), ...where };
}

export interface ServiceStatus {
  installed: boolean;
  /** The file by which the system starts it. */
  starter: string;
  /** What the system reports, if anything. */
  system: Omit<Installed, 'file' | 'command'>;
  /** The file in use; of a service that does not run, the one that it would use. */
  profile?: string;
  running: boolean;
  /** What a running service was started with. */
  inUse?: InUse;
  /** The next start will use another file than the service that runs now. */
  nextProfile?: string;
  /** Of a running service. */
  version?: string;
  address: string;
  /** Not the service, but another program answers there. */
  foreign?: boolean;
  upS?: number;
  gloves?: {
    name: string;
    hand: string;
    state: string;
    armed: boolean;
    /** The session that is shown instead of it. */
    recorded?: string;
    /** Parts of it that are never used. */
    unused: UnusedLine[];
    /** Who says where the hand is. */
    wrist?: WristReport;
    /** What is to be mended or known. */
    troubles: Trouble[];
    /** A better fit that waits to be taken. */
    fitOffer?: FitOffer;
  }[];
  apps?: number;
}

interface Health {
  name?: string;
  version: string;
  uptimeS: number;
  gloves: {
    name: string;
    hand: string;
    armed: boolean;
    unused?: UnusedLine[];
    troubles?: Trouble[];
    firmware?: FirmwareReport;
    fitOffer?: FitOffer;
    wrist?: WristReport;
    link: { state: string; recorded?: string };
  }[];
  apps: unknown[];
}

/** What answers at the address of a service. */
export type HealthAnswer =
  | { state: 'none' }
  | { state: 'refused'; status: number }
  | { state: 'foreign'; address: string }
  | { state: 'running'; health: Health };

/** Never throws. */
export async function askHealth(url: URL, token: string | undefined): Promise<HealthAnswer> {
  const headers = token === undefined ? undefined : { authorization: `Bearer ${token}` };
  const response = await fetch(url, { headers, signal: AbortSignal.timeout(3000) }).catch(() => undefined);
  if (!response) return { state: 'none' };
  if (response.status === 401 || response.status === 403)
    return { state: 'refused', status: response.status };
  const health = (await response.json().catch(() => undefined)) as Health | undefined;
  return health?.name === 'tautline' ? { state: 'running', health } : { state: 'foreign', address: url.host };
}

/** @throws TautlineError notPermitted where the service wants a token */
export async function gatherStatus(
  health: URL,
  token: string | undefined,
  { installed, profile }: Pick<Situation, 'installed' | 'profile'>,
  headers: Record<string, string> = {},
): Promise<ServiceStatus> {
  const { file, command: _, profile: __, ...system } = installed;
  const known = {
    installed: file !== undefined,
    starter: file ?? userPaths().starter,
    system,
    profile,
    address: health.host,
  };
  const answer = await askHealth(health, token);
  if (answer.state === 'refused' && answer.status === 401) {
    throw new TautlineError(
      'notPermitted',
      'The service requires its token.',
      'Give it with --token or TAUTLINE_TOKEN.',
    );
  }
  if (answer.state === 'foreign') return { ...known, running: false, foreign: true };
  if (answer.state !== 'running') return { ...known, running: false };
  const { version, uptimeS, gloves, apps } = answer.health;
  const inUse = await profileInUse(health, headers);
  const used = inUse.kind === 'file' ? inUse.file : undefined;
  const isOther = file !== undefined && profile !== undefined && resolve(profile) !== used;
  return {
    ...known,
    profile: used,
    running: true,
    inUse,
    ...(isOther && inUse.kind !== 'unknown' ? { nextProfile: profile } : {}),
    version,
    upS: uptimeS,
    gloves: gloves.map(
      ({ name, hand, armed, unused = [], troubles = [], fitOffer, wrist, link: { state, recorded } }) => ({
        name,
        hand,
        armed,
        state,
        ...(recorded === undefined ? {} : { recorded }),
        unused,
        troubles,
        ...(fitOffer === undefined ? {} : { fitOffer }),
        ...(wrist === undefined ? {} : { wrist }),
      }),
    ),
    apps: apps.length,
  };
}

/** Begins a line with more about the one above it; it may be long. */
export const NOTE = '    ';

export function statusLines(status: ServiceStatus): string[] {
  const { installed, starter, system, running, address, ...service } = status;
  const lines = [
    installed
      ? `installed: ${system.enabled === false ? 'does not start at log-in' : 'starts at log-in'} (${starter})`
      : 'installed: no; run `tautline install`',
    `profile: ${profileLine(status)}`,
    ...(status.nextProfile === undefined ? [] : [`  at the next start: ${status.nextProfile}`]),
  ];
  const { since, restarts, trouble } = system;
  const past = [
    since ? `since ${since}` : '',
    restarts ? `restarted ${restarts} times` : '',
    trouble ? `last ended with ${trouble}` : '',
  ].filter(Boolean);
  if (past.length > 0) lines.push(`system: ${past.join(', ')}`);
  if (!running) {
    return [
      ...lines,
      `running: no, ${service.foreign ? 'another program' : 'nothing'} answers at ${address}`,
    ];
  }
  const { version, upS = 0, gloves = [], apps = 0 } = service;
  lines.push(
    `running: version ${version} at ${address}, up for ${duration(upS)}, ${apps} ${apps === 1 ? 'app' : 'apps'}`,
  );
  for (const { name, hand, state, armed, recorded, unused, troubles, fitOffer, wrist } of gloves) {
    const shown =
      recorded === undefined ? `link ${state}` : `a recording is shown (${recorded}), no force is possible`;
    lines.push(`  ${hand} hand: ${name}, ${shown}, ${armed ? 'armed' : 'disarmed'}`);
    if (wrist && state === 'live') lines.push(`${NOTE}${wristLine(wrist)}`);
    if (wrist) lines.push(...wristNotes(wrist).map((note) => `${NOTE}${note}`));
    for (const { says, remedy } of unused) lines.push(`${NOTE}${says} ${remedy}`);
    for (const { what, says, remedy } of troubles)
      lines.push(`${NOTE}${what}: ${says} ${remedy ?? ''}`.trimEnd());
    if (fitOffer) lines.push(`${NOTE}${fitOfferLine(fitOffer)}`);
  }
  return lines;
}

function profileLine({ profile, running, inUse }: ServiceStatus): string {
  if (!running) return profile ?? 'none; a service would show the simulated glove';
  switch (inUse?.kind) {
    case 'file':
      return inUse.changed ? `${inUse.file} (changed since: takes effect at the next start)` : inUse.file;
    case 'simulated':
      return 'none; the service shows the simulated glove';
    case 'recording':
      return 'that of the recording';
    default:
      return 'only the user who runs the service is given its name';
  }
}

function fitOfferLine({
  channels,
  differsDeg,
  uncertaintyDeg,
  controls = [],
  stickDeadZone,
}: FitOffer): string {
  const of = (roles: readonly string[]) => `${roles.join(', ')} ${roles.length === 1 ? 'is' : 'are'} off`;
  const said = [
    ...(channels.length > 0
      ? [`${of(channels)} by up to ${differsDeg.toFixed(0)} degrees (known to ${uncertaintyDeg.toFixed(0)})`]
      : []),
    ...(controls.length > 0 ? [of(controls)] : []),
    ...(stickDeadZone === undefined
      ? []
      : [`the stick wants a dead zone of ${(100 * stickDeadZone).toFixed(0)} %`]),
  ];
  return `fit: your motion shows that ${said.join('; ')}. To see it and take it: \`tautline fit --from-use\`.`;
}

/** It runs, and nothing of its gloves is to be mended. */
export const allWell = ({ running, gloves = [] }: ServiceStatus): boolean =>
  running &&
  gloves.every(
    ({ unused, troubles }) => unused.length === 0 && troubles.every(({ state }) => state !== 'wrong'),
  );

const duration = (s: number): string => {
  const [days, hours, minutes] = [Math.floor(s / 86400), Math.floor(s / 3600) % 24, Math.floor(s / 60) % 60];
  if (days > 0) return `${days} d ${hours} h`;
  if (hours > 0) return `${hours} h ${minutes} min`;
  return minutes > 0 ? `${minutes} min` : `${Math.round(s)} s`;
};
