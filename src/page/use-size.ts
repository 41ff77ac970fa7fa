import { type ReadonlySignal, useSignal } from '@preact/signals';
import type { RefObject } from 'preact';
import { useEffect, useRef } from 'preact/hooks';

/** Whole pixels; 0 × 0 of what is not shown. */
export interface Size {
  readonly width: number;
  readonly height: number;
}

const NONE: Size = { width: 0, height: 0 };

/** The size of an element that is drawn on, from the moment that it is there. */
export function useSize<T extends HTMLElement>(): { box: RefObject<T | null>; size: ReadonlySignal<Size> } {
  const box = useRef<T>(null);
  const size = useSignal(NONE);
  useEffect(() => {
    const { current } = box;
    if (!current) return undefined;
    const measure = () => {
      const now = { width: Math.floor(current.clientWidth), height: Math.floor(current.clientHeight) };
      const { width, height } = size.peek();
      if (now.width !== width || now.height !== height) size.value = now;
    };
    const observer = new ResizeObserver(measure);
    observer.observe(current);
    measure();
    return () => observer.disconnect();
  }, []);
  return { box, size };
}
