/**
 * Two hands in the order of time. Segments come one hand after the other, a quarter of a second each; a session is read
 * from front to back, by both hands at once. Each hand keeps its own order.
 */
export interface HandMerge<Item extends { timeUs: number }> {
  /** Items that wait. */
  readonly waiting: number;
  push(hand: number, item: Item): void;
  /** Takes the next item, unless one of the other hand may still come before it. */
  next(): Item | undefined;
  /** Takes the next item, whatever may still come. */
  any(): Item | undefined;
}

/** @param hands how many there are */
export function createHandMerge<Item extends { timeUs: number }>(hands: number): HandMerge<Item> {
  const lines = Array.from({ length: hands }, () => ({ items: [] as Item[], at: 0 }));
  let waiting = 0;

  function take(needAll: boolean): Item | undefined {
    let first: (typeof lines)[number] | undefined;
    for (const line of lines) {
      const item = line.items[line.at];
      if (item === undefined) {
        if (needAll) return undefined;
      } else if (!first || item.timeUs < first.items[first.at].timeUs) first = line;
    }
    if (!first) return undefined;
    const item = first.items[first.at++];
    if (first.at === first.items.length) {
      first.items = [];
      first.at = 0;
    }
    waiting--;
    return item;
  }

  return {
    get waiting() {
      return waiting;
    },
    push(hand, item) {
      lines[hand].items.push(item);
      waiting++;
    },
    next: () => take(true),
    any: () => take(false),
  };
}
