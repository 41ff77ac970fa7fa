import type { Command } from 'commander';
import { TautlineError } from '../errors.js';
import { type ServiceOptions, serviceUrl, tokenOption, unreachable, urlOption } from './service-url.js';

/** A service on this machine answers in milliseconds; what takes longer has hung. */
const ANSWER_WITHIN_MS = 3000;

export function addArmCommands(program: Command): void {
  program
    .command('disarm')
    .description('Free every finger now, and keep them free until armed again.')
    .addOption(urlOption())
    .addOption(tokenOption())
    .addHelpText('after', '\nExample:\n  tautline disarm')
    .action(async (options: ServiceOptions) => {
      await post('disarm', options);
      console.log('Disarmed: every finger is free.');
    });
  program
    .command('arm')
    .description('Permit forces. Do it only when you, the wearer, are ready: the fingers can be stopped.')
    .addOption(urlOption())
    .addOption(tokenOption())
    .addHelpText(
      'after',
      '\nExample:\n  tautline arm       then, to free the fingers again:  tautline disarm',
    )
    .action(async (options: ServiceOptions) => {
      await post('arm', options);
      console.log('Armed: fingers can be stopped. `tautline disarm` frees them.');
    });
}

async function post(path: 'arm' | 'disarm', { url: text, token }: ServiceOptions): Promise<void> {
  const url = serviceUrl(text, 'http', `/${path}`);
  let response: Response;
  let body: string;
  try {
    response = await fetch(url, {
      method: 'POST',
      headers: token === undefined ? {} : { authorization: `Bearer ${token}` },
      signal: AbortSignal.timeout(ANSWER_WITHIN_MS),
    });
    body = await response.text();
  } catch (error) {
    throw unreachable(url, error);
  }
  if (response.ok) return;
  const message = messageIn(body) ?? `${url.host} answered ${response.status} ${response.statusText}.`;
  throw new TautlineError(
    response.status === 401 || response.status === 403 ? 'notPermitted' : 'serviceUnreachable',
    message,
  );
}

/** The message of the service's own error body. */
function messageIn(body: string): string | undefined {
  try {
    const { message } = JSON.parse(body);
    return typeof message === 'string' ? message : undefined;
  } catch {
    return undefined;
  }
}
