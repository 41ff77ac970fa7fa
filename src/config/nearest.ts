/**
 * The known name that a mistyped one was most likely meant to be.
 * @returns undefined when nothing is near: more than a third of the letters would have to change
 */
export function nearest(typed: string, known: Iterable<string>): string | undefined {
  let best: string | undefined;
  let bestDistance = Number.POSITIVE_INFINITY;
  const word = typed.slice(0, MAX_LENGTH).toLowerCase();
  for (const candidate of known) {
    const most = Math.min(bestDistance - 1, Math.max(1, Math.ceil(candidate.length / 3)));
    // Each letter more or less is a change, at least.
    if (Math.abs(candidate.length - word.length) > most) continue;
    const distance = editDistance(word, candidate.toLowerCase());
    if (distance <= most) {
      best = candidate;
      bestDistance = distance;
    }
  }
  return bestDistance < word.length ? best : undefined;
}

/** Names are short; a longer one is nothing that anybody meant to type. */
const MAX_LENGTH = 60;

/** Used again by every comparison: a profile of hundreds of unknown keys asks for thousands. */
const rows: [number[], number[], number[]] = [[], [], []];

/** Optimal string alignment distance: insert, delete, replace, or swap two neighbours, each 1. */
export function editDistance(a: string, b: string): number {
  let [beforePrevious, previous, row] = rows;
  for (let j = 0; j <= b.length; j++) previous[j] = j;
  for (let i = 1; i <= a.length; i++) {
    row[0] = i;
    for (let j = 1; j <= b.length; j++) {
      const replace = previous[j - 1] + (a[i - 1] === b[j - 1] ? 0 : 1);
      row[j] = Math.min(replace, previous[j] + 1, row[j - 1] + 1);
      if (i > 1 && j > 1 && a[i - 1] === b[j - 2] && a[i - 2] === b[j - 1]) {
        row[j] = Math.min(row[j], beforePrevious[j - 2] + 1);
      }
    }
    [beforePrevious, previous, row] = [previous, row, beforePrevious];
  }
  return previous[b.length];
}
