import { type Command, Option } from 'commander';
import { isLoopback } from '../../config/address.js';
import { ERROR_CODES, type ErrorCode, TautlineError } from '../../errors.js';
import { userPaths } from '../../install/paths.js';
import { findWearerKey, WEARER_HEADER } from '../../stream/wearer-key.js';

/** Options of every command that talks to a running service. */
export interface ServiceOptions {
  url: string;
  token?: string;
}

export const urlOption = (description = 'where the service is') =>
  new Option('--url <url>', description).default('http://127.0.0.1:7117');
/** What the user said, rather than the default. */
export const givenUrl = (command: Command): string | undefined =>
  command.getOptionValueSource('url') === 'default' ? undefined : command.getOptionValue('url');
export const tokenOption = () =>
  new Option('--token <token>', "the service's stream.token, when it has one").env('TAUTLINE_TOKEN');

/**
 * A path of the service, whichever way its address was written: http, ws, with /stream, or host:port alone.
 * @throws TautlineError `usage`
 */
export function serviceUrl(text: string, scheme: 'http' | 'ws', path: string): URL {
  const whole = /^[a-z]+:\/\//i.test(text) ? text : `http://${text}`;
  const match = /^(?:http|ws)(s?):$/.exec(URL.canParse(whole) ? new URL(whole).protocol : '');
  if (!match) {
    throw new TautlineError(
      'usage',
      `--url ${text} is not the address of a service.`,
      'Write such as http://127.0.0.1:7117.',
    );
  }
  return new URL(path, `${scheme}${match[1]}://${new URL(whole).host}`);
}

/** What a request to a service carries: the token, and on this machine the key of the user who runs it. */
export function requestHeaders(url: URL, token: string | undefined): Record<string, string> {
  const key = isLoopback(url.hostname)
    ? findWearerKey(userPaths().runtime, Number(url.port || 80))
    : undefined;
  return {
    ...(token === undefined ? {} : { authorization: `Bearer ${token}` }),
    ...(key === undefined ? {} : { [WEARER_HEADER]: key }),
  };
}

/**
 * Where the service is that is meant: at the address given, at that of its profile, or, when nothing answers there, where
 * a service of this user has left word that it runs.
 */
export async function whereItRuns(
  given: string | undefined,
  { url, token }: { url: string; token?: string | undefined },
): Promise<{ url: string; token?: string | undefined }> {
  if (given !== undefined) return { url: given, token };
  const { askHealth } = await import('../../doctor/status.js');
  const answer = await askHealth(serviceUrl(url, 'http', '/health'), token);
  if (answer.state === 'running' || answer.state === 'refused') return { url, token };
  const { readDiscoveryFile } = await import('../../stream/discovery.js');
  const left = await readDiscoveryFile();
  return left === undefined ? { url, token } : { url: left.url, token: token ?? left.token };
}

/** @param cause error of the connection attempt */
export function unreachable(url: URL, cause: unknown): TautlineError {
  const reason = reasonOf(cause);
  if (reason === 'EPROTO' || reason === 'ERR_SSL_WRONG_VERSION_NUMBER') {
    return new TautlineError(
      'serviceUnreachable',
      `${url.host} does not speak TLS, as ${url.protocol}// asks.`,
      `A service speaks it behind a proxy alone: write http://${url.host}.`,
      { cause },
    );
  }
  return new TautlineError(
    'serviceUnreachable',
    `No service answers at ${url.origin === 'null' ? `${url.protocol}//${url.host}` : url.origin}${reason ? ` (${reason})` : ''}.`,
    'Start one with `tautline run`, or name another with --url.',
    { cause },
  );
}

/** Another program may listen there: only a JSON object is an answer. */
export function answerIn(body: string): object | undefined {
  try {
    const answer: unknown = JSON.parse(body);
    return typeof answer === 'object' && answer !== null ? answer : undefined;
  } catch {
    return undefined;
  }
}

/** What stood in the way, as the user can mend it. @param answer body of the response, where it is JSON */
export function refusal(url: URL, status: number, answer: unknown): TautlineError {
  if (status === 401) {
    return new TautlineError(
      'notPermitted',
      `${url.host}: the token is missing or wrong.`,
      'Give it with --token or TAUTLINE_TOKEN.',
    );
  }
  const { code, message } = (answer ?? {}) as { code?: string; message?: string };
  if (code !== undefined && code in ERROR_CODES) {
    const known = code as ErrorCode;
    return new TautlineError(known, message ?? ERROR_CODES[known]);
  }
  return new TautlineError(
    'serviceUnreachable',
    `${url.host} answered ${status}: no Tautline service.`,
    'Start one with `tautline run`, or name another with --url.',
  );
}

function reasonOf(cause: unknown): string | undefined {
  if (!(cause instanceof Error)) return undefined;
  if (cause.name === 'TimeoutError') return 'not in time';
  const { code } = cause as NodeJS.ErrnoException;
  return typeof code === 'string' ? code : (reasonOf(cause.cause) ?? cause.message);
}
