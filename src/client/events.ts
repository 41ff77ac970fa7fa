/** Listeners of one client, by type of event. A listener that throws does not keep the others from hearing. */
export class Events<Table extends object> {
  readonly #listeners = new Map<keyof Table, Set<(event: never) => void>>();

  on<T extends keyof Table>(type: T, listener: (event: Table[T]) => void): () => void {
    let listeners = this.#listeners.get(type);
    if (!listeners) {
      listeners = new Set();
      this.#listeners.set(type, listeners);
    }
    // Wrapped, so that one function that listens twice is heard, and removed, twice.
    const entry = (event: Table[T]) => listener(event);
    listeners.add(entry);
    return () => void listeners.delete(entry);
  }

  has(type: keyof Table): boolean {
    return (this.#listeners.get(type)?.size ?? 0) > 0;
  }

  emit<T extends keyof Table>(type: T, event: Table[T]): void {
    const listeners = this.#listeners.get(type) as Set<(event: Table[T]) => void> | undefined;
    if (!listeners) return;
    for (const listener of listeners) {
      try {
        listener(event);
      } catch (error) {
        // The app's own fault: reported where its other uncaught errors go.
        queueMicrotask(() => {
          throw error;
        });
      }
    }
  }

  clear(): void {
    this.#listeners.clear();
  }
}
