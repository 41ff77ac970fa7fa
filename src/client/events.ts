interface Entry<Event> {
  readonly listener: (event: Event) => void;
  heard: boolean;
}

/** Listeners of one client, by type of event. A listener that throws does not keep the others from hearing. */
export class Events<Table extends object> {
  /** The lists are never changed but replaced: whoever is being called may add and remove. */
  readonly #entries = new Map<keyof Table, readonly Entry<never>[]>();

  on<T extends keyof Table>(type: T, listener: (event: Table[T]) => void): () => void {
    // An entry of its own each time, so that one function that listens twice is heard, and removed, twice.
    const entry: Entry<Table[T]> = { listener, heard: true };
    this.#entries.set(type, [...(this.#entries.get(type) ?? []), entry]);
    return () => {
      entry.heard = false;
      const entries = this.#entries.get(type);
      if (entries)
        this.#entries.set(
          type,
          entries.filter((each) => each !== entry),
        );
    };
  }

  has(type: keyof Table): boolean {
    return (this.#entries.get(type)?.length ?? 0) > 0;
  }

  emit<T extends keyof Table>(type: T, event: Table[T]): void {
    const entries = this.#entries.get(type) as readonly Entry<Table[T]>[] | undefined;
    if (!entries) return;
    // By index: an iterator would be garbage for every pose.
    for (let i = 0; i < entries.length; i++) {
      const entry = entries[i];
      if (!entry.heard) continue;
      try {
        entry.listener(event);
      } catch (error) {
        // The app's own fault: reported where its other uncaught errors go.
        queueMicrotask(() => {
          throw error;
        });
      }
    }
  }

  clear(): void {
    this.#entries.clear();
  }
}
