import { make, setText } from './dom.js';
import type { Live } from './live.js';
import { ask, RouteError } from './routes.js';
import { keepToken, readToken } from './token.js';

/** Asks for the token where the service wants one; the rest of the page waits. */
export function createTokenForm(live: Live): HTMLElement {
  const input = make('input', {
    id: 'token',
    type: 'password',
    autocomplete: 'off',
    required: true,
    'aria-describedby': 'token-why',
  });
  const why = make('p', { id: 'token-why', role: 'status' });
  const form = make(
    'form',
    { class: 'card token', hidden: true },
    make('h2', {}, 'This service requires a token'),
    why,
    make('label', { for: 'token' }, 'Token'),
    input,
    make('button', { type: 'submit', class: 'main' }, 'Connect'),
  );
  form.addEventListener('submit', (event) => {
    event.preventDefault();
    keepToken(input.value.trim());
    // A fresh page knows no half-open connection.
    location.reload();
  });

  let asking = false;
  /** A browser does not tell a page why a socket was refused; an HTTP route does. */
  const look = async (): Promise<void> => {
    if (live.connected || asking || !form.hidden) return;
    asking = true;
    const refused = await ask('GET', '/health').then(
      () => false,
      (error: unknown) => error instanceof RouteError && error.status === 401,
    );
    asking = false;
    if (!refused || live.connected) return;
    const wrong = readToken() !== undefined;
    setText(
      why,
      `${wrong ? 'The token you gave is not the right one. ' : ''}It stands in the profile of the service, under stream.token. It is kept until this tab is closed.`,
    );
    form.hidden = false;
    input.focus();
  };
  live.changed.on(() => {
    if (live.connected) form.hidden = true;
    // Not before an attempt has failed.
    else if (live.reason !== undefined) void look();
  });
  return form;
}
