import { FINGERS, type Finger } from '../hand/joints.js';

/** Why the governor never lets an actuator hold its finger (unused.ts): the words of log, stream, commands and page. */
export interface Unused {
  /** A clause that goes on from `index stays free: `, without a full stop. */
  reason: string;
  /** What to do about it; whole sentences. */
  remedy: string;
}

/** Of one or more fingers of a glove, in whole sentences. */
export interface UnusedLine {
  says: string;
  remedy: string;
}

/** What to say of a glove's actuators, and what to do; fingers with the same reason are told of together. */
export function unusedLines(actuators: readonly { role: string; unused?: Unused }[]): UnusedLine[] {
  const groups = new Map<string, { fingers: Set<string>; unused: Unused }>();
  for (const { role, unused } of actuators) {
    if (!unused) continue;
    const key = `${unused.reason}\n${unused.remedy}`;
    const group = groups.get(key) ?? { fingers: new Set(), unused };
    groups.set(key, group);
    group.fingers.add(role);
  }
  const place = (finger: string) => FINGERS.indexOf(finger as Finger);
  return [...groups.values()].map(({ fingers, unused: { reason, remedy } }) => ({
    says: `${[...fingers].sort((a, b) => place(a) - place(b)).join(', ')} stay${fingers.size > 1 ? '' : 's'} free: ${reason}.`,
    remedy,
  }));
}
