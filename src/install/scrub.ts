/** Takes out of a report what tells who and where somebody is. */
export interface Personal {
  home: string;
  user: string;
  host: string;
  /** Names of people and gloves, tokens, serial numbers: whatever is known. */
  secrets: readonly string[];
}

const SHORTEST = 3;

/** @returns text without home folder, user, host, secrets, device ids, radio and network addresses */
export function scrub(text: string, { home, user, host, secrets }: Personal): string {
  let clean = text;
  const take = (what: string, put: string): void => {
    if (what.length >= SHORTEST) clean = clean.replaceAll(what, put);
  };
  // Longest first: one may hold another.
  for (const secret of [...secrets].sort((a, b) => b.length - a.length)) take(secret, '<removed>');
  take(home, '~');
  take(JSON.stringify(home).slice(1, -1), '~');
  take(host, '<host>');
  // A user's name may be a word of the trade: only where it stands alone.
  if (user.length >= SHORTEST) {
    clean = clean.replace(new RegExp(`\\b${user.replace(/[.*+?^${}()|[\]\\]/g, '\\$&')}\\b`, 'g'), '<user>');
  }
  return clean
    .replace(/\b[0-9a-fA-F]{2}(?:[:-][0-9a-fA-F]{2}){5}\b/g, '<address>')
    .replace(/\b(?!127\.|0\.0\.0\.0)(?:\d{1,3}\.){3}\d{1,3}\b/g, '<address>')
    .replace(/\b[0-9a-f]{16}\b/g, '<id>');
}
