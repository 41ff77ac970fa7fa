import { closeSync, openSync, unlinkSync, writeSync } from 'node:fs';
import { writeError } from './file-sink.js';

/** Writes a new file piece by piece, through a buffer of fixed size. */
export interface FileWriter {
  text(text: string): void;
  bytes(bytes: Uint8Array): void;
  end(): void;
  /** Removes a file that cannot be finished. */
  abandon(): void;
}

const BUFFER_BYTES = 1024 * 1024;

/** @throws TautlineError when it cannot be created or written; an existing file is never replaced */
export function createFileWriter(path: string): FileWriter {
  const guard = <T>(act: () => T): T => {
    try {
      return act();
    } catch (error) {
      throw writeError(path, error);
    }
  };
  const fd = guard(() => openSync(path, 'wx'));
  let waiting: Uint8Array[] = [];
  let size = 0;
  const flush = (): void => {
    const all = Buffer.concat(waiting);
    waiting = [];
    size = 0;
    for (let at = 0; at < all.length; ) at += guard(() => writeSync(fd, all, at));
  };
  const bytes = (piece: Uint8Array): void => {
    waiting.push(piece);
    size += piece.length;
    if (size >= BUFFER_BYTES) flush();
  };
  return {
    bytes,
    text: (text) => bytes(Buffer.from(text)),
    end() {
      flush();
      closeSync(fd);
    },
    abandon() {
      closeSync(fd);
      unlinkSync(path);
    },
  };
}
