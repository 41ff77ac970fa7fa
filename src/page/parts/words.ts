/** The page's words for the service's names. */

const VERDICT: Record<string, string> = {
  healthy: 'Healthy',
  missing: 'Missing',
  intermittent: 'Loose contact',
  railed: 'At an end of the converter',
  dead: 'Dead',
  noisy: 'Noisy',
  reversed: 'Reversed',
  swapped: 'Swapped',
  shortRange: 'Short range',
  drifting: 'Drifting',
  crossTalk: 'Cross-talk',
  stuck: 'Stuck',
  notPressed: 'Not pressed',
  bouncing: 'Bouncing',
};

/** `shortRange` -> `Short range`; a name that the page does not know is shown as it is. */
export const verdictText = (verdict: string): string => VERDICT[verdict] ?? verdict;

/** `index.curl` -> `Index curl`. */
export const roleText = (role: string): string => {
  const [first, second] = role.split('.');
  const start =
    first.charAt(0).toUpperCase() + first.slice(1).replace(/[A-Z]/g, (c) => ` ${c.toLowerCase()}`);
  if (second === undefined) return start;
  return `${start} ${JOINT_ABBREVIATIONS.has(second) ? second.toUpperCase() : second}`;
};
const JOINT_ABBREVIATIONS = new Set(['mcp', 'pip', 'dip', 'cmc', 'ip']);

/** With a capital letter, and what stands in the profile in quotes. */
export const sentence = (text: string): string =>
  text.charAt(0).toUpperCase() + text.slice(1).replace(/`([^`]*)`/g, '“$1”');

export const sideText = (side: string): string => (side === 'left' ? 'Left hand' : 'Right hand');

/** 12 400 bytes -> `12 kB`. */
export function bytesText(bytes: number): string {
  if (bytes < 1000) return `${bytes} B`;
  // Rounded up to the next unit rather than to 1000 of this one.
  if (bytes < 999_500) return `${Math.round(bytes / 1e3)} kB`;
  if (bytes < 999_950_000) return `${(bytes / 1e6).toFixed(1)} MB`;
  return `${(bytes / 1e9).toFixed(1)} GB`;
}

/** 75.4 -> `1:15`; from an hour on `1:02:03`. */
export function clockText(seconds: number): string {
  const whole = Math.max(0, Math.floor(seconds));
  const [hours, minutes] = [Math.floor(whole / 3600), Math.floor(whole / 60) % 60];
  const two = (n: number): string => String(n).padStart(2, '0');
  return `${hours > 0 ? `${hours}:${two(minutes)}` : minutes}:${two(whole % 60)}`;
}
