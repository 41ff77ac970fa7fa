import type { Profile } from '../config/schema.js';
import type { Facts, Finding } from './doctor.js';
import { namelessProfile } from './nameless-profile.js';
import type { LogEvent } from './recent-events.js';
import { type Personal, scrubTree } from './scrub.js';

/** What `tautline report` collects, before names are removed. */
export interface ReportParts {
  version: string;
  node: string;
  platform: string;
  findings: readonly Finding[];
  service: Facts['service'];
  /** Last events of the log. */
  events?: readonly LogEvent[];
  profile?: Profile;
  /** GET /health and GET /metrics of a running service. */
  health?: unknown;
  metrics?: string;
}

/** Values under these keys identify somebody or something, wherever they are in the service's answers. */
const NAMES = new Set([
  'name',
  'deviceId',
  'address',
  'serial',
  'path',
  'wearer',
  'person',
  'token',
  'by',
  'recorded',
]);

/** The report as text: JSON, indented, without personal data. */
export function bugReport(parts: ReportParts, personal: Personal): string {
  const { profile, health, ...rest } = parts;
  const nameless = profile && namelessProfile(profile);
  const named: string[] = [];
  const state = withoutNames(health, named);
  const secrets = [...personal.secrets, ...(nameless?.texts ?? []), ...named];
  const whole = { report: 1, ...rest, profile: nameless?.profile, health: state };
  return `${JSON.stringify(scrubTree(whole, { ...personal, secrets }), null, 1)}\n`;
}

function withoutNames(value: unknown, names: string[]): unknown {
  if (Array.isArray(value)) return value.map((item) => withoutNames(item, names));
  if (typeof value !== 'object' || value === null) return value;
  return Object.fromEntries(
    Object.entries(value).map(([key, item]) => {
      if (typeof item !== 'string' || !NAMES.has(key)) return [key, withoutNames(item, names)];
      if (item !== 'tautline') names.push(item);
      return [key, item === 'tautline' ? item : '<removed>'];
    }),
  );
}
