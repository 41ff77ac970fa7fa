import type { HandSide } from '../hand/joints.js';
import type { ConnectionState } from './connection.js';
import { ClientError } from './errors.js';
import type { ClientEvents } from './options.js';

/** What it needs of a client. */
interface Armed {
  readonly state: ConnectionState;
  isArmed(hand: HandSide): boolean;
  on<T extends keyof ClientEvents>(type: T, listener: (event: ClientEvents[T]) => void): () => void;
}

/**
 * Resolves once the wearer has armed the glove. Rejects with ClientError `closed`, or with the reason of the signal.
 */
export function whenArmed(client: Armed, hand: HandSide, signal: AbortSignal | undefined): Promise<void> {
  if (client.isArmed(hand)) return Promise.resolve();
  const closed = () => new ClientError('closed', 'The client was closed.');
  if (client.state === 'closed') return Promise.reject(closed());
  return new Promise((resolve, reject) => {
    const look = () => client.isArmed(hand) && settle(resolve);
    const stop = [
      // To listen is to subscribe.
      client.on('resistance', look),
      client.on('welcome', look),
      client.on('state', ({ state }) => {
        if (state === 'closed') settle(() => reject(closed()));
      }),
    ];
    const abort = () => settle(() => reject(signal?.reason));
    const settle = (how: () => void) => {
      for (const off of stop) off();
      signal?.removeEventListener('abort', abort);
      how();
    };
    if (signal?.aborted) abort();
    else signal?.addEventListener('abort', abort);
  });
}
