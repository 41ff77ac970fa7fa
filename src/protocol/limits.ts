/**
 * Why the governor gives less than was asked: stable names, in the order of its guards. The bit of a name
 * in a limits field is its index here.
 */
export const LIMITS = [
  'shutdown',
  'disarmed',
  'clockJump',
  'linkLost',
  'stale',
  'invalidRequest',
  'expired',
  'noActuator',
  'faultyFinger',
  'notBehindFinger',
  'unseen',
  'rate',
  'tension',
  'hold',
  'heat',
  'supply',
] as const;
export type LimitName = (typeof LIMITS)[number];

/** One line for people. */
export const LIMIT_TEXT: Record<LimitName, string> = {
  shutdown: 'The service is stopping.',
  disarmed: 'The wearer has not armed the glove.',
  clockJump: 'The governor was not run in time, so it starts again from free.',
  linkLost: 'The glove is not connected.',
  stale: 'No fresh samples from the glove.',
  invalidRequest: 'The request holds something that is not a number.',
  expired: 'The request was not renewed in time.',
  noActuator: 'The glove has no actuator for this finger.',
  faultyFinger: "The finger's sensor is not healthy.",
  unseen: 'The finger has to be seen to move before its stop comes nearer: its sensor may be stuck.',
  rate: 'The stop approaches no faster than the profile permits.',
  notBehindFinger: 'The stop is behind the finger; fingers are not pulled open.',
  tension: 'More than the permitted tension was asked for.',
  hold: 'Held at full effort for too long.',
  heat: 'The actuator would get too warm.',
  supply: 'All actuators together would draw more current than the supply gives.',
};

/** Each name with its line, for a schema. */
export const LIMITS_TOLD: string = LIMITS.map((name) => `\`${name}\`: ${LIMIT_TEXT[name]}`).join(' ');

/** What an event of the governor may say: a limit began to act, or the glove was armed. */
export const EVENT_REASONS = [...LIMITS, 'armed'] as const;
export type EventReason = (typeof EVENT_REASONS)[number];
