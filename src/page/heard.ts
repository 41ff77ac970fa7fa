import { type ReadonlySignal, useComputed, useSignal } from '@preact/signals';
import { useLayoutEffect } from 'preact/hooks';
import type { Live } from './live.js';

type Kind = 'joints' | 'health' | 'resistance' | 'signals' | 'inputs';

/**
 * What is read of the live hands, for as long as the component is there. It is read again when hands, arming or
 * connection changed, and with each message of these kinds; who shows it is drawn again only when it differs, so it is
 * best a text, a number or a boolean. What `read` throws, the component throws.
 */
export function useHeard<T>(live: Live, read: () => T, ...kinds: readonly Kind[]): ReadonlySignal<T> {
  const heard = useSignal(0);
  useLayoutEffect(() => {
    const hear = () => {
      heard.value++;
    };
    const stops = [live.changed.on(hear), ...kinds.map((kind) => live.client.on(kind, hear))];
    // What happened while it was drawn first.
    hear();
    return () => {
      for (const stop of stops) stop();
    };
  }, []);
  return useComputed(() => {
    heard.value;
    return read();
  });
}
