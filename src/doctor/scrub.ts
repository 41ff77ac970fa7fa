/** Removes from a report what tells who and where somebody is. */
export interface Personal {
  home: string;
  user: string;
  host: string;
  /** Names of people, gloves and apps, tokens, paths, serial numbers: whatever is known. */
  secrets: readonly string[];
}

/** A shorter text is a secret only where it is the whole text: it would break up every word. */
const SHORTEST = 3;

/** @returns text without home folder, user, host, secrets, device ids, radio and network addresses */
export function scrub(text: string, { home, user, host, secrets }: Personal): string {
  let clean = text;
  const take = (what: string, put: string): void => {
    if (what.length >= SHORTEST) clean = clean.replace(new RegExp(escaped(what), 'gi'), () => put);
    else if (what !== '' && clean === what) clean = put;
  };
  // Longest first: one may contain another.
  for (const secret of [...secrets].sort((a, b) => b.length - a.length)) take(secret, '<removed>');
  take(home, '~');
  take(host, '<host>');
  // A user's name may be an ordinary word, so only where it stands alone.
  if (user.length > 1)
    clean = clean.replace(new RegExp(`(?<![\\w])${escaped(user)}(?![\\w])`, 'gi'), '<user>');
  return clean
    .replace(/([\\/](?:home|Users)[\\/])[^\\/\s"']+/g, '$1<user>')
    .replace(/[\w.+-]+@[\w-]+(?:\.[\w-]+)+/g, '<mail>')
    .replace(/\b[0-9a-f]{2}(?:[:-][0-9a-f]{2}){5}\b/gi, '<address>')
    .replace(/\b(?!127\.|0\.0\.0\.0)(?:\d{1,3}\.){3}\d{1,3}\b/g, '<address>')
    .replace(/\b[0-9a-f]{8}-(?:[0-9a-f]{4}-){3}[0-9a-f]{12}\b/gi, '<id>')
    .replace(
      /(?<![\w:])(?:[0-9a-f]{1,4}:){2,7}(?::?[0-9a-f]{1,4})+(?![\w:])|\bfe80::[0-9a-f:]+/gi,
      '<address>',
    )
    .replace(/\b[0-9a-f]{16}\b/gi, '<id>')
    .replace(/([/\\]by-id[/\\]|[/\\](?:tty|cu)\.)[^\s"',)]+/g, '$1<id>');
}

const escaped = (text: string) => text.replace(/[.*+?^${}()|[\]\\]/g, '\\$&');

/** The same for every text in a tree of plain data. Its keys are ours. */
export function scrubTree(value: unknown, personal: Personal): unknown {
  if (typeof value === 'string') return scrub(value, personal);
  if (Array.isArray(value)) return value.map((item) => scrubTree(item, personal));
  if (typeof value !== 'object' || value === null) return value;
  return Object.fromEntries(Object.entries(value).map(([key, item]) => [key, scrubTree(item, personal)]));
}
