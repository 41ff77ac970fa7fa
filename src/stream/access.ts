import { createHash, timingSafeEqual } from 'node:crypto';
import type { IncomingHttpHeaders } from 'node:http';
import { isIP } from 'node:net';
import { hostname } from 'node:os';
import { isLoopback } from '../config/address.js';
import type { StreamProfile } from '../config/schema.js';
import { TautlineError } from '../errors.js';
import {
  createPairings,
  isExtension,
  PAIRING_ROUTE,
  PAIRING_STATE_ROUTE,
  type Pairings,
} from './pairings.js';

/** A refused request: HTTP status and one line. */
export interface Denial {
  status: 401 | 403;
  message: string;
}

/** @throws TautlineError addressNotAllowed for an open address without a token */
export function requireSafeAddress(profile: StreamProfile): void {
  if (isLoopback(profile.host) || profile.token) return;
  throw new TautlineError(
    'addressNotAllowed',
    `stream.host ${profile.host} can be reached from other machines, and no stream.token is set.`,
    'Set a token of 16 characters or more, or listen on 127.0.0.1.',
  );
}

/**
 * Decides who may talk to the service: Host guards against DNS rebinding, Origin against foreign web pages, the token
 * against other machines. The same for the stream and for HTTP.
 */
export class Access {
  readonly #hosts: Set<string>;
  readonly #anyAddress: boolean;
  readonly #origins: Set<string>;
  readonly #token: Buffer | undefined;
  readonly #appTokens: readonly { name: string; token: Buffer }[];
  /** The port that was bound; own origins carry it. */
  port = 0;

  constructor(
    profile: StreamProfile,
    readonly pairings: Pairings = createPairings(undefined),
  ) {
    const host = profile.host.toLowerCase();
    this.#hosts = new Set(['localhost', '127.0.0.1', '[::1]', isIP(host) === 6 ? `[${host}]` : host]);
    // Bound to every address: a page that rebinds its DNS name still cannot make the Host an address.
    this.#anyAddress = host === '0.0.0.0' || host === '::';
    if (this.#anyAddress) {
      this.#hosts.add(hostname().toLowerCase());
      this.#hosts.add(`${hostname().toLowerCase()}.local`);
    }
    this.#origins = new Set(profile.origins.map((origin) => origin.toLowerCase().replace(/\/$/, '')));
    this.#token = profile.token === undefined ? undefined : digest(profile.token);
    this.#appTokens = profile.permissions.apps.flatMap(({ name, token }) =>
      token === undefined ? [] : [{ name, token: digest(token) }],
    );
  }

  /**
   * @param open true for what is not secret and acts on nothing (files of the page): needs no token
   * @param forPaired true for what a paired extension may ask for
   */
  deny(headers: IncomingHttpHeaders, url: string, open = false, forPaired = false): Denial | undefined {
    const { host, origin } = headers;
    if (!host || !this.#knowsHost(host)) {
      return {
        status: 403,
        message:
          'The Host of the request is not this service. Use 127.0.0.1 or localhost, or set stream.host.',
      };
    }
    if (isExtension(origin) && !this.allowsOrigin(origin)) {
      if (OPEN_TO_EXTENSIONS.includes(url.split('?', 1)[0])) return undefined;
      // Its secret stands for the token, too.
      if (!this.admitsPaired(headers, url)) return { status: 403, message: NOT_PAIRED };
      return forPaired ? undefined : { status: 403, message: STREAM_ONLY };
    }
    if (origin !== undefined && !this.allowsOrigin(origin)) {
      return {
        status: 403,
        message: 'The web page is not permitted to connect. Add its origin to stream.origins in the profile.',
      };
    }
    if (!open && this.#token && !this.#hasToken(headers.authorization, url)) {
      return {
        status: 401,
        message: 'The token is missing or wrong. Send "Authorization: Bearer TOKEN" or "?token=TOKEN".',
      };
    }
    return undefined;
  }

  /** A browser extension that the wearer has paired, and that the profile does not list. */
  admitsPaired({ origin, authorization }: IncomingHttpHeaders, url: string): boolean {
    if (!isExtension(origin) || this.allowsOrigin(origin)) return false;
    return this.pairings.admits(origin, tokenOf(authorization, url));
  }

  /** Our own page, or listed. */
  allowsOrigin(origin: string): boolean {
    const lower = origin.toLowerCase();
    return this.#origins.has(lower) || this.#isOwnOrigin(lower);
  }

  /**
   * Whether the page of this service asks, as far as a request can show it: no other web page's script, and where the
   * service wants its token, with that and not an app's own.
   */
  isOwnPage(headers: IncomingHttpHeaders, url: string): boolean {
    const { origin, authorization } = headers;
    const site = headers['sec-fetch-site'];
    if (site !== undefined && site !== 'same-origin') return false;
    if (origin !== undefined && !this.#isOwnOrigin(origin.toLowerCase())) return false;
    return !this.#token || this.provedApp({ authorization }, url) === undefined;
  }

  #isOwnOrigin(lower: string): boolean {
    if (!lower.startsWith('http://')) return false;
    const host = lower.slice('http://'.length);
    const ownPort = this.port === 80 ? /^[^:]+$|^\[.*\]$|:80$/.test(host) : host.endsWith(`:${this.port}`);
    return ownPort && this.#knowsHost(host);
  }

  #knowsHost(hostAndPort: string): boolean {
    const host = hostAndPort.toLowerCase().replace(/:\d+$/, '');
    return this.#hosts.has(host) || (this.#anyAddress && isIP(host.replace(/^\[|\]$/g, '')) !== 0);
  }

  #hasToken(authorization: string | undefined, url: string): boolean {
    if (!this.#token) return true;
    const given = tokenOf(authorization, url);
    if (given === undefined) return false;
    // Digests have one length, so the comparison tells nothing about the token's.
    return (
      timingSafeEqual(digest(given), this.#token) || this.provedApp({ authorization }, url) !== undefined
    );
  }

  /** Name of the app whose own token came with the request. */
  provedApp({ authorization }: Pick<IncomingHttpHeaders, 'authorization'>, url: string): string | undefined {
    const given = this.#appTokens.length === 0 ? undefined : tokenOf(authorization, url);
    if (given === undefined) return undefined;
    const answer = digest(given);
    let proved: string | undefined;
    // Every token is compared, so that the time does not tell which it was.
    for (const { name, token } of this.#appTokens) if (timingSafeEqual(answer, token)) proved = name;
    return proved;
  }
}

/** The secret that came with a request. */
export function tokenOf(authorization: string | undefined, url: string): string | undefined {
  const bearer = /^Bearer +(\S+) *$/i.exec(authorization ?? '')?.[1];
  return bearer ?? new URLSearchParams(url.split('?', 2)[1]).get('token') ?? undefined;
}

const NOT_PAIRED =
  'This browser extension is not paired with the service. Pair it in the window of the extension, and type its code on the page of the service, under Apps.';
const OPEN_TO_EXTENSIONS: readonly string[] = [PAIRING_ROUTE, PAIRING_STATE_ROUTE];
const STREAM_ONLY = 'A paired extension gets the stream, may disarm, and nothing else.';
const digest = (text: string): Buffer => createHash('sha256').update(text).digest();
