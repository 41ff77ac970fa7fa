import { type ReadonlySignal, useSignal } from '@preact/signals';
import type { RefObject } from 'preact';
import { useEffect, useLayoutEffect, useRef } from 'preact/hooks';

/** Whole pixels; 0 × 0 of what is not shown. */
export interface Size {
  readonly width: number;
  readonly height: number;
}

const NONE: Size = { width: 0, height: 0 };

/** Where there is more or less room than before. @returns the element that is watched */
export function useResized<T extends HTMLElement>(resized: () => void): RefObject<T | null> {
  const box = useRef<T>(null);
  useLayoutEffect(() => {
    if (!box.current) return undefined;
    const observer = new ResizeObserver(resized);
    observer.observe(box.current);
    return () => observer.disconnect();
  }, []);
  return box;
}

/** The size of an element that is drawn on, from the moment that it is there. */
export function useSize<T extends HTMLElement>(): { box: RefObject<T | null>; size: ReadonlySignal<Size> } {
  const size = useSignal(NONE);
  const measure = () => {
    if (!box.current) return;
    const { clientWidth, clientHeight } = box.current;
    const now = { width: Math.floor(clientWidth), height: Math.floor(clientHeight) };
    const { width, height } = size.peek();
    if (now.width !== width || now.height !== height) size.value = now;
  };
  const box = useResized<T>(measure);
  useEffect(measure, []);
  return { box, size };
}
