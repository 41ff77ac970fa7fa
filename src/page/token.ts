/** The service's token, when it asks for one: from the address (`?token=` or `#token=`), or typed by the user. */
const KEY = 'tautline.token';

export function readToken(): string | undefined {
  const { token, rest } = tokenInAddress(location.search, location.hash);
  if (token === undefined) return sessionStorage.getItem(KEY) ?? undefined;
  keepToken(token);
  // Out of the address bar: it must not be seen over a shoulder or end up in a bookmark.
  history.replaceState(undefined, '', location.pathname + rest);
  return token;
}

export const keepToken = (token: string): void => sessionStorage.setItem(KEY, token);

/**
 * @param search the address from its `?` on, or empty
 * @param hash the address from its `#` on, or empty: the part of the page, or the token
 * @returns the token, and what the address keeps after its path
 */
export function tokenInAddress(search: string, hash: string): { token: string | undefined; rest: string } {
  const asked = new URLSearchParams(search);
  const inHash = new URLSearchParams(hash.slice(1)).get('token');
  const token = asked.get('token') ?? inHash ?? undefined;
  asked.delete('token');
  const others = asked.toString();
  return { token, rest: `${others && `?${others}`}${inHash === null ? hash : ''}` };
}
