import { hasWord } from './disarm-word.js';
import type { Hub } from './hub.js';
import { HTTP_APP } from './permissions.js';

/**
 * Disarming over HTTP, however it is spelt. `POST /disarm` is how it is meant; but nobody who wants to be free must be
 * refused for a capital letter, a slash, a method or a body. What is checked is who asks: Host, Origin and token.
 */

/** What is known of a request. */
export interface Asked {
  method: string;
  /** As it came. */
  url: string;
  /** The route that it was found to be for; undefined when there is none. */
  route: string | undefined;
}

/** Routes under which anything may be asked for: a file that is not there is not found yet. */
const FILES: readonly (string | undefined)[] = ['/*', '/demos/*'];
const DISARM = '/disarm';
const READS: readonly string[] = ['GET', 'HEAD'];

/**
 * Whether the request means to disarm: the word stands in its address, and there is nothing else at that address. A
 * browser that shows an address reads it; so for reading a part of the path must be the word alone, signs aside.
 */
export function meansDisarm({ method, url, route }: Asked): boolean {
  if (method === 'OPTIONS') return false;
  if (route !== undefined && route !== DISARM && !FILES.includes(route)) return false;
  const address = decoded(url);
  if (!READS.includes(method)) return hasWord(address);
  const [path] = address.split('?', 1);
  return path.split(/[/\\]/).some((part) => part.replaceAll(/[^a-z]/gi, '').toLowerCase() === 'disarm');
}

/**
 * Why a request that only reads is not obeyed: a foreign page can have any address read by an image, and a browser
 * says so (Fetch Metadata, W3C; browsers since 2023). For one that does not say so, better free than held.
 */
export function foreignRead(method: string, fetchSite: string | string[] | undefined): boolean {
  return READS.includes(method) && (fetchSite === 'cross-site' || fetchSite === 'same-site');
}

/** Frees the hand that is named, or every hand when none is, or none that is there. @returns the answer */
export function disarmByHttp(hub: Hub, url: string): object {
  const named = new URLSearchParams(url.split('?', 2)[1]).getAll('hand');
  const hand = named.length === 1 && hub.feedsOf(named[0]).length > 0 ? named[0] : undefined;
  // Nobody asks a script who it is: whoever disarms by HTTP does it for the wearer.
  hub.disarm(hand, HTTP_APP, 'wearer');
  const hands = hub.feedsOf(hand).map(({ glove }) => ({
    hand: glove.description.hand,
    armed: glove.armed,
    connected: glove.connected,
  }));
  return { armed: hub.isArmed(hand), hands };
}

/** An address whose percent signs make no sense is taken as it stands. */
function decoded(url: string): string {
  try {
    return decodeURIComponent(url);
  } catch {
    return url;
  }
}

/** For the router, which refuses such an address before anybody has looked at it. */
export function routable(url: string): string {
  return decoded(url) === url && url.includes('%') && hasWord(url)
    ? `${DISARM}?${url.split('?', 2)[1] ?? ''}`
    : url;
}
