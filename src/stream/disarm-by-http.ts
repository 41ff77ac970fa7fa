import { hasWord } from './disarm-word.js';
import type { Hub } from './hub.js';
import { HTTP_APP } from './permissions.js';

/**
 * Disarming over HTTP, however it is spelt. The proper form is `POST /disarm`, but a wearer who wants to be free must
 * not be refused for a capital letter, a slash, a method or a body. Host, Origin and token are still checked.
 */

/** What is known about a request. */
export interface Asked {
  method: string;
  /** As received. */
  url: string;
  /** The route that it matched; undefined without one. */
  route: string | undefined;
}

/** Routes that match any path below them: whether the file exists is not known yet. */
const FILES: readonly (string | undefined)[] = ['/*', '/demos/*'];
const DISARM = '/disarm';
const READS: readonly string[] = ['GET', 'HEAD'];

/**
 * Whether the request means to disarm: the word is in its address, and nothing else is at that address. A browser
 * fetches an address to show it, so for a request that only reads, one part of the path must be the word alone,
 * punctuation aside.
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
 * Why a request that only reads is not obeyed: a foreign page can make a browser fetch any address as an image, and
 * browsers since 2023 say so (Fetch Metadata, W3C). Without that header: better free than held.
 */
export function foreignRead(method: string, fetchSite: string | string[] | undefined): boolean {
  return READS.includes(method) && (fetchSite === 'cross-site' || fetchSite === 'same-site');
}

/** Frees the hand that is named, or every hand if none is named or the name is unknown. @returns the answer */
export function disarmByHttp(hub: Hub, url: string): object {
  const named = new URLSearchParams(url.split('?', 2)[1]).getAll('hand');
  const hand = named.length === 1 && hub.feedsOf(named[0]).length > 0 ? named[0] : undefined;
  // Whoever disarms by HTTP does it for the wearer, without proof.
  hub.disarm(hand, HTTP_APP, 'wearer');
  const hands = hub.feedsOf(hand).map(({ glove }) => ({
    hand: glove.description.hand,
    armed: glove.armed,
    connected: glove.connected,
  }));
  return { armed: hub.isArmed(hand), hands };
}

/** An address with malformed percent-encoding is taken as it is. */
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
