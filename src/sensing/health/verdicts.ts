/** Names of what can be wrong with a channel, most telling first. */
export const FAULT_KINDS = [
  'missing',
  'intermittent',
  'railed',
  'dead',
  'noisy',
  'reversed',
  'swapped',
  'shortRange',
  'drifting',
  'crossTalk',
] as const;
export type FaultKind = (typeof FAULT_KINDS)[number];
export type VerdictKind = 'healthy' | FaultKind;

/** What to do about each. */
export const REMEDY: Readonly<Record<FaultKind, string>> = {
  missing: 'Check that the firmware sends this channel, or take it out of the profile.',
  intermittent: 'A connector or wire is loose: press the plugs home, look for broken strands, fix the cable.',
  railed:
    'Check for an open wire or a short: at 0 the wiper or its signal wire is off (the pull-down shows it), or the supply wire; at full scale the ground wire is off.',
  dead: 'Check the wiring and solder joints of this sensor, and that its string turns the shaft.',
  noisy:
    'Keep sensor wires away from servo wires, add 100 nF from signal to ground, check the ground connection.',
  reversed: 'Swap the outer two wires of the potentiometer, or set `inverted: true` in the profile.',
  swapped: 'Swap the two plugs, or swap the two roles in the profile.',
  shortRange:
    'Wind the string so that the finger uses more of the sensor, or use a smaller spool; then fit again.',
  drifting: 'The string slips or stretches, or the clamp creeps: fix it, then fit again.',
  crossTalk: 'Another channel couples in: separate the wires, check the shared supply and ground.',
};

export interface Verdict {
  readonly kind: VerdictKind;
  /** False: the channel's value is not used, its finger is inferred. */
  readonly usable: boolean;
  /** One line with the numbers that the verdict rests on; empty when healthy. */
  readonly evidence: string;
  /** One line: what to do; empty when healthy. */
  readonly remedy: string;
}

/** Faults that a signal may have without showing them: they take a wearer who is told what to do. */
export const ONLY_BY_MOVES: ReadonlySet<VerdictKind> = new Set([
  'dead',
  'reversed',
  'swapped',
  'shortRange',
  'drifting',
  'crossTalk',
]);

export const HEALTHY: Verdict = { kind: 'healthy', usable: true, evidence: '', remedy: '' };

export const fault = (kind: FaultKind, usable: boolean, evidence: string): Verdict => ({
  kind,
  usable,
  evidence,
  remedy: REMEDY[kind],
});

/** What to do about a stick or a trigger, which has no string and hangs on no finger. */
const REMEDY_OF_CONTROL: Partial<Record<FaultKind, string>> = {
  railed:
    'Check its three wires: at 0 its signal wire or its supply is off, at full scale its ground. If it does so only when it is pressed to an edge, give `open` and `closed` by `tautline fit`.',
  dead: 'Check its wires and solder joints; if both axes of a stick are dead, its supply. A module may be broken: try another.',
  reversed: 'Exchange `open` and `closed` in the profile, or set `inverted: true`.',
  shortRange:
    'Move it to every edge when asked. If you did, it gets only part of the supply, or its lever does not reach: check supply and cap, then fit again.',
  drifting:
    'It does not come back to where it rests: clean or replace it, or give the stick a larger `stickDeadZone`.',
};

/** A verdict in words for a channel of this kind. */
export function inWordsOf(kind: string, verdict: Verdict): Verdict {
  if ((kind !== 'stick' && kind !== 'control') || verdict.kind === 'healthy') return verdict;
  const remedy = REMEDY_OF_CONTROL[verdict.kind];
  return remedy === undefined ? verdict : { ...verdict, remedy };
}

/** For evidence. */
export const percent = (part: number): string => `${Math.round(part * 100)} %`;
