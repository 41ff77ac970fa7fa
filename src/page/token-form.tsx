import { useSignal } from '@preact/signals';
import { useEffect, useLayoutEffect, useRef } from 'preact/hooks';
import type { Live } from './live.js';
import { ask, RouteError } from './routes.js';
import { keepToken, readToken } from './token.js';

/** Whether the service wants a token: a browser does not tell a page why a socket was refused; an HTTP route does. */
const isTokenWanted = (): Promise<boolean> =>
  ask('GET', '/health').then(
    () => false,
    (error: unknown) => error instanceof RouteError && error.status === 401,
  );

/** Asks for the token where the service wants one; the rest of the page waits. */
export function TokenForm({ live }: { live: Live }) {
  const why = useSignal<string | undefined>(undefined);
  const input = useRef<HTMLInputElement>(null);
  useEffect(() => {
    let asking = false;
    const look = async (): Promise<void> => {
      if (live.connected) why.value = undefined;
      // Not before an attempt has failed.
      if (live.connected || live.reason === undefined || asking || why.peek() !== undefined) return;
      asking = true;
      const wanted = await isTokenWanted();
      asking = false;
      if (!wanted || live.connected) return;
      const wrong = readToken() !== undefined;
      why.value = `${wrong ? 'The token you gave is not the right one. ' : ''}It stands in the profile of the service, under stream.token. It is kept until this tab is closed.`;
    };
    void look();
    return live.changed.on(() => void look());
  }, []);
  const shown = why.value !== undefined;
  useLayoutEffect(() => {
    if (shown) input.current?.focus();
  }, [shown]);
  return (
    <form
      class="card token"
      hidden={!shown}
      onSubmit={(event) => {
        event.preventDefault();
        keepToken(input.current?.value.trim() ?? '');
        // A fresh page knows no half-open connection.
        location.reload();
      }}
    >
      <h2>This service requires a token</h2>
      <p id="token-why" role="status">
        {why}
      </p>
      <label for="token">Token</label>
      <input
        id="token"
        type="password"
        autocomplete="off"
        required
        aria-describedby="token-why"
        ref={input}
      />
      <button type="submit" class="main">
        Connect
      </button>
    </form>
  );
}
