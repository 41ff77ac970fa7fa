import { STREAM_PATH } from '../../protocol/constants.js';

/** The service, as the extension knows it: its port, and the secret of the pairing. Pages never see either. */

const DEFAULT_PORT = 7117;

export async function readPort(): Promise<number> {
  const { port } = await chrome.storage.local.get(['port']);
  return typeof port === 'number' ? port : DEFAULT_PORT;
}

/** @returns whether it is a port */
export async function keepPort(text: string): Promise<boolean> {
  const port = Number(text);
  if (!/^\d{1,5}$/.test(text) || port < 1 || port > 65_535) return false;
  // A secret belongs to one service.
  if (port !== (await readPort())) await chrome.storage.local.remove(['secret']);
  await chrome.storage.local.set({ port });
  return true;
}

const readSecret = async (): Promise<string | undefined> =>
  (await chrome.storage.local.get(['secret'])).secret as string | undefined;
export const keepSecret = (secret: string): Promise<void> => chrome.storage.local.set({ secret });

export const pageOf = (port: number): string => `http://127.0.0.1:${port}/#apps`;

export async function streamAddress(): Promise<string> {
  const [port, secret] = await Promise.all([readPort(), readSecret()]);
  return `ws://127.0.0.1:${port}${STREAM_PATH}${secret === undefined ? '' : `?token=${secret}`}`;
}

/** away: nothing answers, or something else does. */
export type PairingState = 'paired' | 'asking' | 'unknown' | 'away';

/** @param secret another than the one that is kept */
export async function pairingState(secret?: string): Promise<PairingState> {
  const token = secret ?? (await readSecret()) ?? '';
  const answer = await post<{ state?: PairingState }>(`/pairing/state?token=${encodeURIComponent(token)}`);
  return answer?.state ?? 'away';
}

export interface Question {
  code: string;
  secret: string;
  expiresInS: number;
}
/** Asks to be paired. @returns the question, or a line that says why there is none */
export async function askToPair(): Promise<Question | string> {
  const answer = await post<Partial<Question> & { message?: string }>('/pairing');
  if (answer?.code !== undefined && answer.secret !== undefined) return answer as Question;
  return answer?.message ?? `No service answers at 127.0.0.1:${await readPort()}. Start it: tautline run`;
}

/** By POST, with nothing in it: so the browser always says which extension asks, and asks nobody before. */
async function post<T>(path: string): Promise<T | undefined> {
  try {
    const response = await fetch(`http://127.0.0.1:${await readPort()}${path}`, {
      method: 'POST',
      cache: 'no-store',
      credentials: 'omit',
    });
    return (await response.json()) as T;
  } catch {
    return undefined;
  }
}
