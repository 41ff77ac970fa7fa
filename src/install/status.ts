import { existsSync } from 'node:fs';
import { TautlineError } from '../errors.js';
import { userPaths } from './paths.js';

export interface ServiceStatus {
  installed: boolean;
  /** What the system starts it by. */
  starter: string;
  running: boolean;
  /** Of a running service. */
  version?: string;
  address?: string;
  upS?: number;
  gloves?: { name: string; hand: string; state: string; armed: boolean }[];
  apps?: number;
}

interface Health {
  name?: string;
  version: string;
  uptimeS: number;
  gloves: { name: string; hand: string; armed: boolean; link: { state: string } }[];
  apps: unknown[];
}

/** @throws TautlineError notPermitted where the service wants a token */
export async function gatherStatus(health: URL, token: string | undefined): Promise<ServiceStatus> {
  const { starter } = userPaths();
  const known = { installed: existsSync(starter), starter };
  const headers = token === undefined ? undefined : { authorization: `Bearer ${token}` };
  const response = await fetch(health, { headers, signal: AbortSignal.timeout(3000) }).catch(() => undefined);
  if (response?.status === 401) {
    throw new TautlineError(
      'notPermitted',
      'The service wants its token.',
      'Give it with --token or TAUTLINE_TOKEN.',
    );
  }
  const body = (await response?.json().catch(() => undefined)) as Health | undefined;
  if (body?.name !== 'tautline') return { ...known, running: false };
  return {
    ...known,
    running: true,
    version: body.version,
    address: health.host,
    upS: body.uptimeS,
    gloves: body.gloves.map(({ name, hand, armed, link }) => ({ name, hand, armed, state: link.state })),
    apps: body.apps.length,
  };
}

export function statusLines({ installed, starter, running, ...service }: ServiceStatus): string[] {
  const lines = [
    installed ? `installed: starts at log-in (${starter})` : 'installed: no; `tautline install` does it',
  ];
  if (!running) return [...lines, 'running: no'];
  const { version, address, upS = 0, gloves = [], apps = 0 } = service;
  lines.push(
    `running: version ${version} at ${address}, up for ${duration(upS)}, ${apps} ${apps === 1 ? 'app' : 'apps'}`,
  );
  for (const { name, hand, state, armed } of gloves) {
    lines.push(`  ${hand} hand: ${name}, link ${state}, ${armed ? 'armed' : 'disarmed'}`);
  }
  return lines;
}

const duration = (s: number): string => {
  const [days, hours, minutes] = [Math.floor(s / 86400), Math.floor(s / 3600) % 24, Math.floor(s / 60) % 60];
  if (days > 0) return `${days} d ${hours} h`;
  if (hours > 0) return `${hours} h ${minutes} min`;
  return minutes > 0 ? `${minutes} min` : `${Math.round(s)} s`;
};
