import type { Refusal } from '../protocol/refusals.js';
import type { AppRequest, GloveListener, HandFrame } from './view.js';

/** Everything that listens to one glove: the stream, the recorder. */
export interface GloveListeners {
  /** @returns the function that stops it */
  add(listener: GloveListener): () => void;
  bytes(chunk: Uint8Array, arrivalUs: number): void;
  sent(bytes: Uint8Array, timeUs: number): void;
  frame(): void;
  inputs(): void;
  gestures(): void;
  health(): void;
  resistance(): void;
  described(): void;
  /** @returns the refusal, as the answer to the app */
  asked(app: string, request: AppRequest, refusal?: Refusal): Refusal | undefined;
}

/** @param frame reused for every pose */
export function createListeners(frame: HandFrame): GloveListeners {
  const listeners = new Set<GloveListener>();
  return {
    add(listener) {
      listeners.add(listener);
      return () => void listeners.delete(listener);
    },
    bytes(chunk, arrivalUs) {
      for (const listener of listeners) listener.bytes?.(chunk, arrivalUs);
    },
    sent(bytes, timeUs) {
      for (const listener of listeners) listener.sent?.(bytes, timeUs);
    },
    frame() {
      for (const listener of listeners) listener.frame?.(frame);
      frame.skipped = 0;
    },
    inputs() {
      for (const listener of listeners) listener.inputs?.();
    },
    gestures() {
      for (const listener of listeners) listener.gestures?.();
    },
    health() {
      for (const listener of listeners) listener.health?.();
    },
    resistance() {
      for (const listener of listeners) listener.resistance?.();
    },
    described() {
      for (const listener of listeners) listener.described?.();
    },
    asked(app, request, refusal) {
      for (const listener of listeners) listener.asked?.(app, request, refusal);
      return refusal;
    },
  };
}
