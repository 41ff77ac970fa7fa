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
 * @throws RouteError with the service's own line, or code `unreachable`
 */
export async function ask<T>(method: 'GET' | 'POST' | 'DELETE', path: string, body?: unknown): Promise<T> {
  const response = await send(method, path, body);
  return (await response.json()) as T;
}

/** An address for a link: a browser sends no header with a download. */
export function linkTo(path: string): string {
  const token = readToken();
  if (token === undefined) return path;
  return `${path}${path.includes('?') ? '&' : '?'}token=${encodeURIComponent(token)}`;
}

async function send(method: string, path: string, body?: unknown): Promise<Response> {
  const token = readToken();
  let response: Response;
  try {
    response = await fetch(path, {
      method,
      headers: {
        ...(token === undefined ? {} : { authorization: `Bearer ${token}` }),
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
