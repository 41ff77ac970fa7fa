/** Listeners of one kind of event. */
export interface Signal<T> {
  /** @returns removes the listener */
  on(listener: (value: T) => void): () => void;
  emit(value: T): void;
}

export function createSignal<T>(): Signal<T> {
  const listeners = new Set<(value: T) => void>();
  return {
    on(listener) {
      listeners.add(listener);
      return () => void listeners.delete(listener);
    },
    emit(value) {
      for (const listener of listeners) listener(value);
    },
  };
}
