import { signal } from '@preact/signals';

/** Absent where nothing is a page: in Node. */
const page = (globalThis as { document?: Document }).document;
const now = (): boolean => page?.visibilityState !== 'hidden';

/** False while another tab is in front of the page, or its window is minimized: whatever it shows, nobody sees. */
export const seen = signal(now());
page?.addEventListener('visibilitychange', () => {
  seen.value = now();
});

/**
 * Does it again and again while the page is seen, and at once when it is seen again.
 *
 * @returns ends it
 */
export function everyWhileSeen(periodMs: number, work: () => void): () => void {
  let timer: ReturnType<typeof setInterval> | undefined;
  let wasHidden = false;
  const stop = seen.subscribe((isSeen) => {
    clearInterval(timer);
    if (!isSeen) wasHidden = true;
    else {
      timer = setInterval(work, periodMs);
      if (wasHidden) work();
    }
  });
  return () => {
    stop();
    clearInterval(timer);
  };
}
