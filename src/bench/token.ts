/** The service's token, when it asks for one: from the address (`?token=` or `#token=`), or typed by the user. */
const KEY = 'tautline.token';

export function readToken(): string | undefined {
  const given =
    new URLSearchParams(location.search).get('token') ??
    new URLSearchParams(location.hash.slice(1)).get('token');
  if (given === null) return sessionStorage.getItem(KEY) ?? undefined;
  keepToken(given);
  // Out of the address bar: it must not be seen over a shoulder or end up in a bookmark.
  history.replaceState(undefined, '', location.pathname);
  return given;
}

export const keepToken = (token: string): void => sessionStorage.setItem(KEY, token);
