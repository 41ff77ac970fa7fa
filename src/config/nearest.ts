/**
 * The known name that a mistyped one was most likely meant to be.
 * @returns undefined when nothing is near: more than a third of the letters would have to change
 */
export function nearest(typed: string, known: Iterable<string>): string | undefined {
  let best: string | undefined;
  let bestDistance = Number.POSITIVE_INFINITY;
  const word = typed.slice(0, MAX_LENGTH).toLowerCase();
  for (const candidate of known) {
    const distance = editDistance(word, candidate.toLowerCase());
    if (distance < bestDistance && distance <= Math.max(1, Math.ceil(candidate.length / 3))) {
      best = candidate;
      bestDistance = distance;
    }
  }
  return bestDistance < word.length ? best : undefined;
}

/** Names are short; a longer one is nothing that anybody meant to type. */
const MAX_LENGTH = 60;

/** Optimal string alignment distance: insert, delete, replace, or swap two neighbours, each 1. */
export function editDistance(a: string, b: string): number {
  let beforePrevious: number[] = [];
  let previous = Array.from({ length: b.length + 1 }, (_, j) => j);
  for (let i = 1; i <= a.length; i++) {
    const row = [i];
    for (let j = 1; j <= b.length; j++) {
      const replace = previous[j - 1] + (a[i - 1] === b[j - 1] ? 0 : 1);
      row[j] = Math.min(replace, previous[j] + 1, row[j - 1] + 1);
      if (i > 1 && j > 1 && a[i - 1] === b[j - 2] && a[i - 2] === b[j - 1]) {
        row[j] = Math.min(row[j], beforePrevious[j - 2] + 1);
      }
    }
    beforePrevious = previous;
    previous = row;
  }
  return previous[b.length];
}
