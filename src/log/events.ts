import type { Logger } from 'pino';

/**
 * Everything that the service logs, once: the names are stable, for whoever filters logs by them. The table types the
 * calls and makes the list in docs/operations.md (`npm run generate`).
 */
interface LogEvent {
  level: 'debug' | 'info' | 'warn' | 'error' | 'fatal';
  /** The text, when the call gives none that says more. */
  text: string;
  /** For the documents: what it means. */
  meaning: string;
  /** Names of the fields that may come with it. */
  fields: readonly string[];
}

export const LOG_EVENTS = {
  'profile.caution': {
    level: 'warn',
    text: 'the profile deserves a second look',
    meaning: 'A figure of the profile is permitted, but its consequence should be known.',
    fields: [],
  },
  'link.live': {
    level: 'info',
    text: 'link is live',
    meaning: 'Bytes can come and go. The glove may not have said anything yet.',
    fields: ['glove', 'address'],
  },
  'link.trouble': {
    level: 'warn',
    text: 'the link has trouble',
    meaning:
      'The link is lost or cannot be opened; it is retried until it works, and logged once. The text says why and what to do.',
    fields: ['glove', 'state', 'code'],
  },
  'link.bursts': {
    level: 'warn',
    text: 'samples come in bursts',
    meaning: 'The port or its driver holds samples back; the text says how to mend that.',
    fields: ['glove'],
  },
  'glove.hello': {
    level: 'info',
    text: 'glove said hello',
    meaning: 'A glove said what it is, for the first time or differently from before.',
    fields: ['glove', 'hand', 'deviceId'],
  },
  'glove.otherHand': {
    level: 'warn',
    text: 'the glove is for the other hand',
    meaning: 'The glove says another hand than the profile; the glove is believed.',
    fields: ['glove'],
  },
  'glove.silent': {
    level: 'warn',
    text: 'the glove is silent',
    meaning: 'No samples any more: every finger is free, and apps are told that the hand is not valid.',
    fields: ['glove'],
  },
  'glove.note': {
    level: 'info',
    text: 'note from the glove',
    meaning: 'Text that the firmware sent.',
    fields: ['glove', 'text'],
  },
  'channel.verdict': {
    level: 'warn',
    text: 'a sensor is not healthy',
    meaning:
      'A channel is dead, loose, noisy or otherwise at fault; its finger is free. At most once in 10 s for a channel, and then the newest; `leftOut` faults came and went since its last line.',
    fields: ['glove', 'role', 'verdict', 'leftOut'],
  },
  'fit.bonesRefused': {
    level: 'warn',
    text: 'the fitted bones cannot be a hand',
    meaning: 'A fit file holds bones that no hand has; one of the right size is used.',
    fields: ['glove', 'reason'],
  },
  armed: {
    level: 'info',
    text: 'armed',
    meaning: 'The wearer armed: forces are possible.',
    fields: ['hand', 'by'],
  },
  disarmed: {
    level: 'info',
    text: 'disarmed',
    meaning: 'Every finger is free until somebody arms again.',
    fields: ['hand', 'by'],
  },
  'app.connected': {
    level: 'info',
    text: 'app connected',
    meaning: 'A stream was opened. `proved`: the app whose own token came with it.',
    fields: ['app', 'origin', 'encoding', 'proved'],
  },
  'app.left': {
    level: 'info',
    text: 'app left',
    meaning: 'A stream ended, and with it all that its app asked for.',
    fields: ['app', 'name', 'dropped'],
  },
  'app.refused': {
    level: 'warn',
    text: 'connection refused',
    meaning: 'Host, Origin or token were not right.',
    fields: ['origin', 'reason'],
  },
  'app.notReading': {
    level: 'warn',
    text: 'app does not read its answers: closed',
    meaning: 'Too many answers lay unread.',
    fields: ['app'],
  },
  'wearerKey.notLeft': {
    level: 'warn',
    text: 'tautline arm will not work: no folder for its key can be written',
    meaning:
      'The page still arms. The command line proves itself with a key that it finds in one of the folders.',
    fields: ['folders'],
  },
  'app.tooManyMessages': {
    level: 'warn',
    text: 'app sends too many messages: closed',
    meaning: 'It went on sending over its rate after it was warned.',
    fields: ['app'],
  },
  'app.gone': {
    level: 'warn',
    text: 'app does not answer: disconnected',
    meaning: 'No pong came in time.',
    fields: ['app'],
  },
  'app.silent': {
    level: 'warn',
    text: 'app was silent while it held fingers: they are free',
    meaning: 'Frozen, or its network is gone: no pong and no message came, from a page no message.',
    fields: ['app', 'name'],
  },
  'app.brokeProtocol': {
    level: 'debug',
    text: 'app broke the protocol',
    meaning: 'What came is no WebSocket frame that is taken.',
    fields: ['app', 'reason'],
  },
  'app.requestFailed': {
    level: 'error',
    text: 'request failed',
    meaning: 'A fault in the program: please report it.',
    fields: ['app', 'type', 'err'],
  },
  'connections.crowded': {
    level: 'warn',
    text: 'too many connections: one was turned away',
    meaning:
      'Told once a second at most. `reason`: `address` (one machine has too many) or `crowded` (all together).',
    fields: ['reason', 'address', 'times'],
  },
  'pose.notFinite': {
    level: 'error',
    text: 'pose not sent: a number is not finite',
    meaning: 'A fault in the program: please report it. Told when the count doubles.',
    fields: ['hand', 'count'],
  },
  'recording.failed': {
    level: 'error',
    text: 'the recording ended early',
    meaning: 'The file cannot be written any more; what was recorded until then is in it.',
    fields: ['file', 'code'],
  },
  'recording.markFailed': {
    level: 'warn',
    text: 'the note was not taken',
    meaning: 'A note for a running recording could not be added; the text says why.',
    fields: [],
  },
  'replay.resist': {
    level: 'info',
    text: 'resist',
    meaning: 'In a replay: what an app would have done to the glove.',
    fields: ['hand', 'held', 'validForMs'],
  },
  'replay.release': { level: 'info', text: 'release', meaning: 'The same, a release.', fields: ['hand'] },
  'replay.pulse': {
    level: 'info',
    text: 'pulse',
    meaning: 'The same, a pulse.',
    fields: ['hand', 'actuator', 'amplitude', 'durationMs'],
  },
  'service.ending': {
    level: 'info',
    text: 'ending',
    meaning: 'A signal asked the service to end: fingers are freed first.',
    fields: ['signal'],
  },
  'service.closeSlow': {
    level: 'fatal',
    text: 'closing takes too long; ending all the same',
    meaning: 'Fingers were freed first; what hung was left behind.',
    fields: [],
  },
  'service.closeFailed': {
    level: 'fatal',
    text: 'closing failed',
    meaning: 'The same, with a fault.',
    fields: [],
  },
  'service.stuck': {
    level: 'error',
    text: 'poses have stopped though the link is live: systemd will restart the service',
    meaning: 'The process is up but does not do its work; it is not said to be alive.',
    fields: [],
  },
  'service.notifyFailed': {
    level: 'error',
    text: 'systemd was not notified: systemd-notify failed',
    meaning: 'The service runs, but its supervisor may think that it does not.',
    fields: [],
  },
  'service.whereaboutsUntold': {
    level: 'warn',
    text: 'other programs are not told the address',
    meaning:
      'The file in the runtime folder could not be written; programs of the same user look at the usual address.',
    fields: [],
  },
  'service.fault': {
    level: 'debug',
    text: 'fault',
    meaning: 'A fault in the program, with its stack trace: please report it.',
    fields: ['err'],
  },
} as const satisfies Record<string, LogEvent>;

export type LogEventName = keyof typeof LOG_EVENTS;
type FieldsOf<E extends LogEventName> = Partial<Record<(typeof LOG_EVENTS)[E]['fields'][number], unknown>>;

/**
 * Logs one event: its name is in the field `event`.
 * @param text in place of the event's own, when there is more to say
 */
export function logEvent<E extends LogEventName>(
  logger: Logger,
  event: E,
  fields: FieldsOf<E>,
  text: string = LOG_EVENTS[event].text,
): void {
  const entry: object = { event, ...fields };
  logger[LOG_EVENTS[event].level](entry, text);
}

/** docs/log-events.md. */
export function logEventsPage(): string {
  const rows = Object.entries<LogEvent>(LOG_EVENTS).map(
    ([name, { level, meaning, fields }]) =>
      `| \`${name}\` | ${level} | ${meaning} | ${fields.map((field) => `\`${field}\``).join(', ')} |`,
  );
  return [
    '# Log events',
    '',
    'Generated by `npm run generate` from src/log/events.ts. Each line of the log is one JSON object (text, when a person',
    'looks on): `time`, `level`, `event`, `msg`, and the fields of its event. Names are stable; texts are for people and may',
    'change. [Operations](operations.md) says how to read the log.',
    '',
    '| event | level | what it means | fields |',
    '| --- | --- | --- | --- |',
    ...rows,
    '',
  ].join('\n');
}
