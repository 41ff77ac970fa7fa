/**
 * Whether a request has more than one Host header. Then the one that is checked may not be the one that is used, so
 * it must be refused with 400 (RFC 9112, 3.2).
 * @param rawHeaders names and values in turn
 */
export function hasSeveralHosts(rawHeaders: readonly string[]): boolean {
  let hosts = 0;
  for (let i = 0; i < rawHeaders.length; i += 2) if (rawHeaders[i].toLowerCase() === 'host') hosts++;
  return hosts > 1;
}

export const SEVERAL_HOSTS = {
  status: 400,
  message: 'The request has more than one Host header; send one.',
} as const;
