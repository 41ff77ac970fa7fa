import type { Logger } from 'pino';

/*** Everything that the service logs. The names are stable, so that logs can be filtered by them. The table types the
 * calls, and docs/log-events.md is generated from it (`npm run generate`).
 */
interface LogEvent {
  level: 'debug' | 'info' | 'warn' | 'error' | 'fatal';
  /** Used unless the call gives a text that says more. */
  text: string;
  /** For docs/log-events.md. */
  meaning: string;
  /** Names of the fields that may come with it. */
  fields: readonly string[];
}

export const LOG_EVENTS = {
  'profile.caution': {
    level: 'warn',
    text: 'check this figure of the profile',
    meaning: 'A figure of the profile is permitted, but you should know its consequences.',
    fields: [],
  },
  'link.live': {
    level: 'info',
    text: 'link is live',
    meaning: 'Bytes can be exchanged. The glove may not have sent anything yet.',
    fields: ['glove', 'address'],
  },
  'link.trouble': {
    level: 'warn',
    text: 'the link has failed',
    meaning:
      'The link is lost or cannot be opened; it is retried until it works, and logged once. The text says why and what to do.',
    fields: ['glove', 'state', 'code'],
  },
  'link.bursts': {
    level: 'warn',
    text: 'samples come in bursts',
    meaning: 'The port or its driver holds samples back; the text says how to fix that.',
    fields: ['glove'],
  },
  'glove.hello': {
    level: 'info',
    text: 'glove said hello',
    meaning: 'A glove described itself, for the first time or differently from before.',
    fields: ['glove', 'hand', 'deviceId'],
  },
  'glove.otherHand': {
    level: 'warn',
    text: 'the glove is for the other hand',
    meaning: 'The glove reports another hand than the profile; the glove is believed.',
    fields: ['glove'],
  },
  'glove.silent': {
    level: 'warn',
    text: 'the glove is silent',
    meaning: 'Samples have stopped: every finger is free, and apps see a hand that is not valid.',
    fields: ['glove'],
  },
  'glove.notUnderstood': {
    level: 'warn',
    text: 'what comes is not understood',
    meaning:
      'The link is live, but the glove has not described itself: the text says what comes instead (text where frames are expected, a wrong baud rate), and what to do.',
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
      'A channel is dead, loose, noisy or otherwise faulty; its finger is free. Logged at most every 10 s per channel, with the newest verdict; `leftOut` counts the faults that came and went in between.',
    fields: ['glove', 'role', 'verdict', 'leftOut'],
  },
  'fit.ofNobody': {
    level: 'warn',
    text: 'the wearer was never fitted',
    meaning: 'A wearer was named (`--person`) of whom there is no fit; the numbers of the profile are used.',
    fields: ['glove', 'hand', 'person'],
  },
  'fit.bonesRefused': {
    level: 'warn',
    text: 'the fitted bones cannot be a hand',
    meaning: 'A fit file holds bones that no hand has; a standard hand of the right size is used.',
    fields: ['glove', 'reason'],
  },
  'fleet.connected': {
    level: 'info',
    text: 'publishing to the broker',
    meaning: 'The connection to the broker of the `fleet` section is open.',
    fields: ['broker'],
  },
  'fleet.away': {
    level: 'warn',
    text: 'the broker is away',
    meaning:
      'The broker cannot be reached, or refuses; it is tried again until it works, and logged once for each reason. Gloves and apps notice nothing.',
    fields: ['code'],
  },
  'fleet.refused': {
    level: 'warn',
    text: 'the broker refuses messages: check its access list, and its limits of size',
    meaning: 'The broker took the connection but not a message. Logged once.',
    fields: [],
  },
  'fleet.threadFailed': {
    level: 'error',
    text: 'the publisher failed and is started again',
    meaning: 'A fault in the thread that publishes. Gloves and apps notice nothing; what waited is lost.',
    fields: [],
  },
  armed: {
    level: 'info',
    text: 'armed',
    meaning: 'The glove was armed: forces are possible.',
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
    meaning: 'A stream was opened. `proved`: the app whose token it gave.',
    fields: ['app', 'origin', 'encoding', 'proved'],
  },
  'app.left': {
    level: 'info',
    text: 'app left',
    meaning: 'A stream ended, and with it everything that its app asked for.',
    fields: ['app', 'name', 'dropped'],
  },
  'app.refused': {
    level: 'warn',
    text: 'connection refused',
    meaning: 'Host, Origin or token was wrong.',
    fields: ['origin', 'reason'],
  },
  'app.notReading': {
    level: 'warn',
    text: 'app does not read its answers: closed',
    meaning: 'Too many answers were left unread.',
    fields: ['app'],
  },
  'extension.asks': {
    level: 'info',
    text: 'a browser extension asks to be paired',
    meaning: 'It sees nothing until the wearer types its code on the page.',
    fields: ['origin'],
  },
  'extension.paired': {
    level: 'warn',
    text: 'a browser extension was paired: it may see the hands',
    meaning: 'The wearer typed its code on the page, where the pairing can be withdrawn.',
    fields: ['origin'],
  },
  'extension.withdrawn': {
    level: 'info',
    text: 'a browser extension is no longer paired',
    meaning: 'The wearer withdrew the pairing, or refused the question. Its connections were closed.',
    fields: ['origin'],
  },
  'wearerKey.notLeft': {
    level: 'warn',
    text: 'tautline arm will not work: no folder for its key is writable',
    meaning: 'The page can still arm. The command line needs a key from one of these folders.',
    fields: ['folders'],
  },
  'app.tooManyMessages': {
    level: 'warn',
    text: 'app sends too many messages: closed',
    meaning: 'It kept exceeding its rate after it was warned.',
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
    text: 'app went silent while it held fingers: they are free',
    meaning:
      'The app is frozen, or its network is down: neither a pong nor a message came (from a page: no message).',
    fields: ['app', 'name'],
  },
  'app.brokeProtocol': {
    level: 'debug',
    text: 'app broke the protocol',
    meaning: 'It sent something that is not an accepted WebSocket frame.',
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
      'Logged at most once a second. `reason`: `address` (one machine has too many) or `crowded` (too many in total).',
    fields: ['reason', 'address', 'times'],
  },
  'pose.notFinite': {
    level: 'error',
    text: 'pose not sent: a number is not finite',
    meaning: 'A fault in the program: please report it. Logged each time the count doubles.',
    fields: ['hand', 'count'],
  },
  'recording.failed': {
    level: 'error',
    text: 'the recording ended early',
    meaning: 'The file can no longer be written; what was recorded until then is in it.',
    fields: ['file', 'code'],
  },
  'recording.markFailed': {
    level: 'warn',
    text: 'the note was not added',
    meaning: 'A note for a running recording could not be added; the text says why.',
    fields: [],
  },
  'replay.resist': {
    level: 'info',
    text: 'resist',
    meaning: 'In a replay: what would have been sent to the glove.',
    fields: ['hand', 'held', 'validForMs'],
  },
  'replay.release': { level: 'info', text: 'release', meaning: 'The same, for a release.', fields: ['hand'] },
  'replay.pulse': {
    level: 'info',
    text: 'pulse',
    meaning: 'The same, for a pulse.',
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
    text: 'closing takes too long: ending anyway',
    meaning: 'Fingers were freed first; whatever hung was abandoned.',
    fields: [],
  },
  'service.closeFailed': {
    level: 'fatal',
    text: 'closing failed',
    meaning: 'Closing threw an error. Fingers were freed first.',
    fields: [],
  },
  'service.stuck': {
    level: 'error',
    text: 'poses have stopped though the link is live: systemd will restart the service',
    meaning: 'The process runs but does no work, so it stops telling systemd that it is alive.',
    fields: [],
  },
  'service.notifyFailed': {
    level: 'error',
    text: 'systemd was not notified: systemd-notify failed',
    meaning: 'The service runs, but systemd may believe that it does not.',
    fields: [],
  },
  'service.whereaboutsUntold': {
    level: 'warn',
    text: 'other programs cannot look up the address',
    meaning:
      'The file in the runtime folder could not be written; programs of the same user try the usual address.',
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
 * @param text replaces the event's own text when there is more to say
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
    'Generated by `npm run generate` from src/log/events.ts. Each line of the log is one JSON object (text on a terminal):',
    '`time`, `level`, `event`, `msg`, and the fields of its event. Names are stable; texts are for people and may',
    'change. [Operations](operations.md) says how to read the log.',
    '',
    '| event | level | what it means | fields |',
    '| --- | --- | --- | --- |',
    ...rows,
    '',
  ].join('\n');
}
