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
  /** What `any` would take. */
  peek(): Item | undefined;
}

/** @param hands how many there are */
export function createHandMerge<Item extends { timeUs: number }>(hands: number): HandMerge<Item> {
  const lines = Array.from({ length: hands }, () => ({ items: [] as Item[], at: 0 }));
  let waiting = 0;

  /** @returns the line with the next item */
  function first(needAll: boolean): (typeof lines)[number] | undefined {
    let found: (typeof lines)[number] | undefined;
    for (const line of lines) {
      const item = line.items[line.at];
      if (item === undefined) {
        if (needAll) return undefined;
      } else if (!found || item.timeUs < found.items[found.at].timeUs) found = line;
    }
    return found;
  }

  function take(line: (typeof lines)[number] | undefined): Item | undefined {
    if (!line) return undefined;
    const item = line.items[line.at++];
    if (line.at === line.items.length) {
      line.items = [];
      line.at = 0;
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
    next: () => take(first(true)),
    any: () => take(first(false)),
    peek() {
      const line = first(false);
      return line?.items[line.at];
    },
  };
}
