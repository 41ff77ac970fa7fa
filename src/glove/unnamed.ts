import { actuatorLine, channelLine } from '../config/profile-lines.js';
import type { GloveProfile } from '../config/schema.js';
import type { Hello } from '../link/codec.js';

/** What a glove has and its profile does not name, with the lines that would name it. */
export interface Unnamed {
  /** `stick.x and stick.y`, for people. */
  what: string;
  /** Key of the profile, and the lines to add under it. */
  under: 'channels' | 'actuators' | 'buttons';
  lines: readonly string[];
}

/** @param buttons every bit that was ever set */
export function unnamedOf(
  glove: Pick<GloveProfile, 'channels' | 'actuators' | 'buttons'>,
  { channels, actuators }: Pick<Hello, 'channels' | 'actuators'>,
  buttons: number,
): Unnamed[] {
  const found: Unnamed[] = [];
  const sensors = channels.filter(
    ({ role }) => role !== 'spare' && !glove.channels.some((one) => one.role === role),
  );
  if (sensors.length > 0) {
    found.push({
      what: listed(sensors.map(({ role }) => role)),
      under: 'channels',
      lines: sensors.map(({ role, bits }) => channelLine(role, bits)),
    });
  }
  const drives = actuators.filter(
    ({ role, kind }) =>
      role !== 'spare' && !glove.actuators.some((one) => one.role === role && one.kind === kind),
  );
  if (drives.length > 0) {
    found.push({
      what: listed(drives.map(({ role, kind }) => `a ${kind} on ${role}`)),
      under: 'actuators',
      lines: drives.map(({ role, kind }) => actuatorLine(role, kind)),
    });
  }
  const named = new Set(Object.values(glove.buttons));
  const bits = Array.from({ length: 16 }, (_, bit) => bit).filter(
    (bit) => (buttons & (1 << bit)) !== 0 && !named.has(bit),
  );
  if (bits.length > 0) {
    found.push({
      what: `button ${listed(bits.map(String))}`,
      under: 'buttons',
      lines: bits.map((bit) => `NAME: ${bit}`),
    });
  }
  return found;
}

/** One line of what, and what to add. */
export const unnamedText = ({ what, under, lines }: Unnamed): { says: string; remedy: string } => ({
  says: `The glove sends ${what}, which the profile does not name.`.replace('sends a ', 'has a '),
  remedy: `Add under ${under}: ${lines.map((line) => line.replace(/^- /, '')).join('; ')}.`,
});

const listed = (names: readonly string[]) => names.join(', ').replace(/, ([^,]*)$/, ' and $1');
