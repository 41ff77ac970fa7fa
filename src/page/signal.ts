/** Listeners of one kind of event. One that throws does not keep the others from hearing. */
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
      for (const listener of listeners) {
        try {
          listener(value);
        } catch (error) {
          // Reported where other uncaught errors go.
          queueMicrotask(() => {
            throw error;
          });
        }
      }
    },
  };
}
