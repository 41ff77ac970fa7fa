import { BlockList, isIPv4, isIPv6 } from 'node:net';

const LOOPBACK_V6 = new BlockList();
LOOPBACK_V6.addAddress('::1', 'ipv6');
LOOPBACK_V6.addSubnet('::ffff:127.0.0.0', 104, 'ipv6');

/** Whether only programs of this machine can reach a server that listens on the host. */
export function isLoopback(host: string): boolean {
  if (isIPv4(host)) return host.startsWith('127.');
  if (isIPv6(host)) return LOOPBACK_V6.check(host, 'ipv6');
  return host.toLowerCase() === 'localhost';
}

/** `HOST:PORT`, `HOST`, `:PORT` or `PORT`, with IPv6 hosts in brackets; undefined for anything else. */
export function parseAddress(text: string): { host?: string; port?: number } | undefined {
  const match = /^(?:\[([0-9a-fA-F:.]+)\]|([A-Za-z0-9.-]+))?(?::(\d{1,5}))?$/.exec(text);
  if (!match || text === '') return undefined;
  const [, ipv6, plain, digits] = match;
  if (ipv6 !== undefined && !isIPv6(ipv6)) return undefined;
  const onlyPort = digits === undefined && plain !== undefined && /^\d{1,5}$/.test(plain);
  const host = ipv6 ?? (onlyPort ? undefined : plain);
  const portText = onlyPort ? plain : digits;
  const port = portText === undefined ? undefined : Number(portText);
  if (port !== undefined && port > 65535) return undefined;
  return { host, port };
}

/** The host as it stands in a URL: IPv6 in brackets. */
export const urlHost = (host: string): string => (isIPv6(host) ? `[${host}]` : host);
