import { STREAM_PATH, SUBPROTOCOL_BINARY, SUBPROTOCOL_JSON } from '../protocol/constants.js';
import { ClientError } from './errors.js';

/** As much of the web's WebSocket as the library uses. */
export interface SocketLike {
  binaryType: string;
  readonly readyState: number;
  send(text: string): void;
  close(code?: number, reason?: string): void;
  onopen: ((event: never) => void) | null;
  onmessage: ((event: { data: unknown }) => void) | null;
  onclose: ((event: { code: number; reason: string }) => void) | null;
  onerror: ((event: never) => void) | null;
}
export type SocketClass = new (url: string, protocols: string | string[]) => SocketLike;

export type Encoding = 'binary' | 'json';
export const SUBPROTOCOL: Record<Encoding, string> = { binary: SUBPROTOCOL_BINARY, json: SUBPROTOCOL_JSON };

/** Variables of the environment, where there is one. */
const environment = (globalThis as { process?: { env?: Record<string, string | undefined> } }).process?.env;

/** Where the service is if the app names no address: what TAUTLINE_STREAM says, or the usual place. */
export const usualUrl = (): string => environment?.TAUTLINE_STREAM || `ws://127.0.0.1:7117${STREAM_PATH}`;
/** The token that goes with that. */
export const usualToken = (): string | undefined =>
  environment?.TAUTLINE_STREAM ? environment.TAUTLINE_TOKEN || undefined : undefined;

/**
 * `ws://…/stream` from what an app writes: a host, an http or ws address, with or without the path.
 * @throws TypeError if it is not an address
 */
export function streamUrl(address: string | URL, token: string | undefined): string {
  const text = String(address);
  const url = new URL(/^[a-z]+:\/\//i.test(text) ? text : `ws://${text}`);
  url.protocol = url.protocol.replace(/^http/, 'ws');
  if (url.pathname === '/' || url.pathname === '') url.pathname = STREAM_PATH;
  url.hash = '';
  // A browser cannot send headers with a WebSocket.
  if (token !== undefined) url.searchParams.set('token', token);
  return url.href;
}

/**
 * The runtime's own WebSocket, or the package `ws` where there is none (Node before 22).
 * @throws ClientError noWebSocket
 */
export async function findWebSocket(): Promise<SocketClass> {
  const { WebSocket } = globalThis as { WebSocket?: SocketClass };
  if (WebSocket) return WebSocket;
  try {
    // A name in a variable: bundlers for browsers must not go looking for it.
    const name = 'ws';
    const loaded = (await import(/* webpackIgnore: true */ /* @vite-ignore */ name)) as {
      WebSocket: SocketClass;
    };
    return loaded.WebSocket;
  } catch {
    throw new ClientError(
      'noWebSocket',
      'This runtime has no WebSocket. Install the package ws, or pass a class as the option WebSocket.',
    );
  }
}
