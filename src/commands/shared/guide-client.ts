import { randomUUID } from 'node:crypto';
import type { Command } from 'commander';
import { Option } from 'commander';
import type { Profile } from '../../config/schema.js';
import { TautlineError } from '../../errors.js';
import type { GuideReport } from '../../guide/guide.js';
import { HAND_SIDES, type HandSide } from '../../hand/joints.js';
import { WEARER_HEADER } from '../../stream/wearer-key.js';
import {
  answerIn,
  refusal,
  requestHeaders,
  type ServiceOptions,
  serviceUrl,
  tokenOption,
  unreachable,
  urlOption,
} from './service-url.js';

/** Options of every command that leads a wearer through moves. */
export interface GuideOptions extends ServiceOptions {
  profile?: string;
  port?: string;
  hand?: HandSide;
}

export const addGuideOptions = (command: Command): Command =>
  command
    .option('--profile <file>', 'your glove; opens it, unless a running service has it already')
    .option('--port <path>', "serial port, in place of the profile's")
    .addOption(new Option('--hand <side>', 'which glove, when there are two').choices(HAND_SIDES))
    .addOption(urlOption())
    .addOption(tokenOption());

/** The guide of a glove, over HTTP: of a running service, or of one of our own that lives as long as the command. */
export interface GuideClient {
  /** Where the glove is, for people. */
  readonly where: string;
  /** Whether it lives as long as the command alone. */
  readonly own: boolean;
  ask<T = GuideReport>(
    method: 'GET' | 'POST',
    path: string,
    query?: Record<string, string>,
    body?: unknown,
  ): Promise<T>;
  close(): Promise<void>;
}

const ANSWER_WITHIN_MS = 5000;
const GLOVE_WITHIN_MS = 8000;
const TRY_EVERY_MS = 200;

/**
 * Finds the service that has the glove, or opens the glove.
 * @throws TautlineError serviceUnreachable without a profile and without a service, or what the profile breaks
 */
export async function openGuide(options: GuideOptions): Promise<GuideClient> {
  if (options.profile === undefined) {
    const client = clientOf(
      serviceUrl(options.url, 'http', '/'),
      options.token,
      options.hand,
      async () => {},
    );
    await client.ask('GET', '/guide').catch((error: unknown) => {
      if (!(error instanceof TautlineError) || error.code !== 'serviceUnreachable') throw error;
      throw new TautlineError(
        'serviceUnreachable',
        error.message,
        'Name your glove with --profile, or start a service with `tautline run`.',
      );
    });
    return client;
  }
  const { loadProfile } = await import('../../config/load.js');
  const profile = await loadProfile(options.profile);
  const running = await findService(profile, options);
  if (running) return running;
  return startOwn(profile, options);
}

/** A running service at the profile's address that has one of its gloves. */
async function findService(profile: Profile, options: GuideOptions): Promise<GuideClient | undefined> {
  const { host, port, token } = profile.stream;
  if (port === 0) return undefined;
  const address = host.includes(':') ? `[${host}]:${port}` : `${host}:${port}`;
  const url = serviceUrl(address, 'http', '/');
  const client = clientOf(url, token ?? options.token, options.hand, async () => {});
  try {
    const { glove } = await client.ask('GET', '/guide');
    return profile.gloves.some(({ name }) => name === glove) ? client : undefined;
  } catch {
    return undefined;
  }
}

async function startOwn(profile: Profile, options: GuideOptions): Promise<GuideClient> {
  const [{ startService }, { pino }] = await Promise.all([import('../../service.js'), import('pino')]);
  const own = { ...profile, stream: { ...profile.stream, host: '127.0.0.1', port: 0, token: undefined } };
  const service = await startService({
    profile: own,
    profileFile: options.profile,
    portOverride: options.port,
    logger: pino({ level: 'silent' }),
  });
  const client = clientOf(
    new URL(service.address.replace('ws', 'http')),
    undefined,
    options.hand,
    () => service.close(),
    service.wearerKey,
  );
  return { ...client, own: true };
}

function clientOf(
  url: URL,
  token: string | undefined,
  hand: HandSide | undefined,
  close: () => Promise<void>,
  key?: string,
): GuideClient {
  /** So that this command leads what it begins, and nobody else does. */
  const leader = randomUUID();
  return {
    where: url.host,
    own: false,
    close,
    async ask<T = GuideReport>(
      method: 'GET' | 'POST',
      path: string,
      query: Record<string, string> = {},
      body?: unknown,
    ): Promise<T> {
      const target = new URL(path, url);
      for (const [key, value] of Object.entries(query)) target.searchParams.set(key, value);
      if (hand) target.searchParams.set('hand', hand);
      target.searchParams.set('leader', leader);
      let response: Response;
      let text: string;
      try {
        response = await fetch(target, {
          method,
          headers: {
            ...requestHeaders(target, token),
            ...(key === undefined ? {} : { [WEARER_HEADER]: key }),
            ...(body === undefined ? {} : { 'content-type': 'application/json' }),
          },
          body: body === undefined ? undefined : JSON.stringify(body),
          signal: AbortSignal.timeout(ANSWER_WITHIN_MS),
        });
        text = await response.text();
      } catch (error) {
        throw unreachable(target, error);
      }
      const answer = answerIn(text);
      if (response.ok && answer !== undefined) return answer as T;
      throw refusal(target, response.status, answer);
    },
  };
}

/** Begins, as soon as the glove sends; says why it does not. */
export async function begin(client: GuideClient, query: Record<string, string>): Promise<GuideReport> {
  const untilMs = performance.now() + GLOVE_WITHIN_MS;
  for (;;) {
    try {
      return await client.ask('POST', '/guide', {
        by: `\`tautline ${query.task === 'check' ? 'check' : 'fit'}\``,
        ...query,
      });
    } catch (error) {
      const waiting = error instanceof TautlineError && error.code === 'notSupported';
      if (!waiting) throw error;
      if (performance.now() > untilMs) {
        throw new TautlineError('portFailed', `The glove does not answer: ${error.message}`);
      }
      await new Promise((resolve) => setTimeout(resolve, TRY_EVERY_MS));
    }
  }
}
