import { readToken } from './token.js';

/** A refusal of the service: its code and its line. */
export class RouteError extends Error {
  constructor(
    readonly code: string,
    message: string,
    readonly status: number,
  ) {
    super(message);
  }
}

/**
 * Asks one of the service's HTTP routes.
 * @param proved as the wearer; what changes something always is
 * @throws RouteError with the service's own line, or code `unreachable`
 */
export async function ask<T>(
  method: 'GET' | 'POST' | 'DELETE',
  path: string,
  body?: unknown,
  proved = method !== 'GET',
): Promise<T> {
  const response = await send(method, path, body, proved);
  return (await response.json()) as T;
}

/** An address for a link: a browser sends no header with a download. */
export function linkTo(path: string): string {
  const token = readToken();
  if (token === undefined) return path;
  return `${path}${path.includes('?') ? '&' : '?'}token=${encodeURIComponent(token)}`;
}

function tokenHeader(): Record<string, string> {
  const token = readToken();
  return token === undefined ? {} : { authorization: `Bearer ${token}` };
}

/** The key of this run of the service: asked for each time, since a service that starts again makes another. */
async function wearerProof(): Promise<Record<string, string>> {
  const response = await fetch('/wearer', { headers: tokenHeader(), cache: 'no-store' });
  const { key } = (response.ok ? await response.json() : {}) as { key?: string };
  return key === undefined ? {} : { 'tautline-wearer': key };
}

async function send(method: string, path: string, body: unknown, proved: boolean): Promise<Response> {
  let response: Response;
  try {
    // What lets go proves nothing and waits for nothing.
    const proof = !proved || path === '/disarm' ? {} : await wearerProof();
    response = await fetch(path, {
      method,
      headers: {
        ...tokenHeader(),
        ...proof,
        ...(body === undefined ? {} : { 'content-type': 'application/json' }),
      },
      body: body === undefined ? null : JSON.stringify(body),
      // A disarm must get through even while the page is being closed.
      keepalive: method === 'POST',
    });
  } catch {
    throw new RouteError('unreachable', 'The service does not answer.', 0);
  }
  if (response.ok) return response;
  const { code, message } = (await response.json().catch(() => ({}))) as { code?: string; message?: string };
  throw new RouteError(
    code ?? 'unknown',
    message ?? `The service answered ${response.status}.`,
    response.status,
  );
}
