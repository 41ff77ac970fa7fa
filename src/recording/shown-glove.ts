import type { LiveGlove } from '../glove/glove.js';
import type { Glove, GloveListener } from '../glove/view.js';

/** A glove as apps see it; a replayed one can take its place for a while. */
export interface ShownGlove extends Glove {
  readonly live: LiveGlove;
  /** Shows another glove, or the live one again. Frees every finger first. */
  show(glove: Glove | undefined): void;
}

export function createShownGlove(live: LiveGlove): ShownGlove {
  const listeners = new Map<GloveListener, () => void>();
  let shown: Glove = live;
  const own = {
    live,
    listen(listener: GloveListener) {
      listeners.set(listener, shown.listen(listener));
      return () => {
        listeners.get(listener)?.();
        listeners.delete(listener);
      };
    },
    show(next: Glove | undefined) {
      for (const glove of new Set([shown, live])) glove.disarm('another glove is shown', 'wearer');
      live.replaced = next !== undefined;
      for (const forget of listeners.values()) forget();
      shown = next ?? live;
      for (const listener of listeners.keys()) {
        listeners.set(listener, shown.listen(listener));
        listener.described?.();
        listener.health?.();
        listener.resistance?.();
      }
    },
  };
  // Everything else is the shown glove's.
  return new Proxy(own as unknown as ShownGlove, {
    get: (_, key) => (key in own ? own[key as keyof typeof own] : shown[key as keyof Glove]),
  });
}
