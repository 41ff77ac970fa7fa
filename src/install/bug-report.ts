import type { Profile } from '../config/schema.js';
import type { Facts, Finding } from './doctor.js';
import { type Personal, scrub } from './scrub.js';

/** What `tautline report` puts together, before names are taken out. */
export interface ReportParts {
  version: string;
  node: string;
  platform: string;
  findings: readonly Finding[];
  service: Facts['service'];
  profile?: Profile;
  /** GET /health and GET /metrics of a running service. */
  health?: unknown;
  metrics?: string;
}

/** The report as text: JSON, indented, without personal data. */
export function bugReport(parts: ReportParts, personal: Personal): string {
  const { profile } = parts;
  const secrets = [...personal.secrets, ...(profile ? namesIn(profile) : [])];
  const text = JSON.stringify({ report: 1, ...parts, profile: profile && withoutNames(profile) }, null, 1);
  return `${scrub(text, { ...personal, secrets })}\n`;
}

/** Whatever in a profile could name a person, a place or a device. */
function namesIn({ name, wearer, stream, gloves }: Profile): string[] {
  const own = [name, wearer.name, stream.token];
  for (const glove of gloves) {
    own.push(glove.name);
    const link: Record<string, unknown> = { ...glove.link };
    const usb = (link.usb ?? {}) as Record<string, unknown>;
    for (const value of [link.path, link.name, link.address, usb.serial]) {
      if (typeof value === 'string') own.push(value);
    }
  }
  return own.filter((text): text is string => typeof text === 'string');
}

/** What is left says how the glove is built. */
function withoutNames({ name: _, wearer, stream, gloves, ...rest }: Profile): object {
  const { name: __, ...hand } = wearer;
  const { token, ...open } = stream;
  return {
    ...rest,
    wearer: hand,
    stream: { ...open, hasToken: token !== undefined },
    gloves: gloves.map(({ name: ___, link, ...glove }) => ({ ...glove, link: { kind: link.kind } })),
  };
}
