import type { ChunkTable } from './chunk-table.js';
import { CHUNK_FIXED, lengthAt, MAGIC, MAX_CHUNK_BYTES, Opcode, RECORD_HEADER } from './layout.js';

export interface ScanSources {
  /** Of the file. */
  size: number;
  /** Bytes of the file, fewer at its end. */
  readAt(offset: number, length: number, into?: Buffer): Buffer;
  /** Filled. */
  chunks: ChunkTable;
  /** Counts what is skipped. */
  damage: { bytes: number };
  /** The channel is already known. */
  knows(channelId: number): boolean;
  /** Reads the schemas and channels in a chunk. */
  learn(chunk: number): void;
}

const WINDOW = 1024 * 1024;

/**
 * Finds the chunks of a file without a sound index: record by record from the start, and after garbage, at the next
 * chunk.
 */
export function scanChunks({ size, readAt, chunks, damage, knows, learn }: ScanSources): void {
  let offset = MAGIC.length;
  const head = Buffer.alloc(RECORD_HEADER + CHUNK_FIXED);
  while (offset < size) {
    const got = readAt(offset, head.length, head).length;
    const length = got < RECORD_HEADER ? Number.NaN : lengthAt(head, 1);
    const end = offset + RECORD_HEADER + length;
    const opcode = head[0];
    if (opcode === Opcode.DATA_END || opcode === Opcode.FOOTER) break;
    if (end <= size && opcode >= Opcode.HEADER && opcode <= Opcode.SUMMARY_OFFSET) {
      if (opcode === Opcode.CHUNK && isChunk(head.subarray(0, got), length)) {
        chunks.add(offset, end - offset, lengthAt(head, 9), lengthAt(head, 17));
        learnChannels(chunks.count - 1, end);
        offset = end;
        continue;
      }
      if (opcode === Opcode.MESSAGE_INDEX && length >= 2) {
        const id = readAt(offset + RECORD_HEADER, 2).readUInt16LE();
        if (chunks.count > 0) chunks.mark(chunks.count - 1, id);
        offset = end;
        continue;
      }
      if (opcode !== Opcode.CHUNK && opcode !== Opcode.MESSAGE) {
        offset = end;
        continue;
      }
    }
    // Garbage, or the end of what was written.
    const next = findNextChunk(offset + 1);
    if (next < 0) {
      if (
        opcode === Opcode.CHUNK &&
        got === head.length &&
        isChunk(head, length) &&
        length < MAX_CHUNK_BYTES
      ) {
        chunks.addUnfinished(offset, size - offset, lengthAt(head, 9), lengthAt(head, 17));
        learnChannels(chunks.count - 1, size);
      } else damage.bytes += size - offset;
      break;
    }
    damage.bytes += next - offset;
    offset = next;
  }

  function findNextChunk(from: number): number {
    const window = Buffer.alloc(WINDOW);
    for (let base = from; base < size; base += WINDOW - RECORD_HEADER - CHUNK_FIXED) {
      const bytes = readAt(base, WINDOW, window);
      let at = bytes.indexOf(Opcode.CHUNK);
      for (; at >= 0; at = bytes.indexOf(Opcode.CHUNK, at + 1)) {
        const head = bytes.subarray(at, at + RECORD_HEADER + CHUNK_FIXED);
        if (head.length < RECORD_HEADER + CHUNK_FIXED) break;
        const length = lengthAt(head, 1);
        if (base + at + RECORD_HEADER + length <= size && isChunk(head, length)) return base + at;
      }
    }
    return -1;
  }

  /** Schemas and channels stand in the chunk that first uses them: look into those that may bring new ones. */
  function learnChannels(chunk: number, end: number): void {
    let fresh = chunks.unfinished(chunk);
    for (let at = end; !fresh && at < size; ) {
      const head = readAt(at, RECORD_HEADER + 2);
      if (head.length < RECORD_HEADER + 2 || head[0] !== Opcode.MESSAGE_INDEX) {
        fresh = at === end;
        break;
      }
      fresh = !knows(head.readUInt16LE(RECORD_HEADER));
      at += RECORD_HEADER + lengthAt(head, 1);
    }
    if (fresh || end >= size) learn(chunk);
  }
}

/** Our chunks are not compressed, so that their lengths must agree: that hardly happens by chance. */
function isChunk(head: Buffer, length: number): boolean {
  return (
    head.length === RECORD_HEADER + CHUNK_FIXED &&
    head.readUInt32LE(RECORD_HEADER + 28) === 0 &&
    lengthAt(head, RECORD_HEADER + 32) === length - CHUNK_FIXED &&
    lengthAt(head, RECORD_HEADER + 16) === length - CHUNK_FIXED
  );
}
