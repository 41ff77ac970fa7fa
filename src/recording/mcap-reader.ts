import { closeSync, fstatSync, openSync, readSync } from 'node:fs';
import { McapConstants } from '@mcap/core';
import { TautlineError } from '../errors.js';
import { crc32 } from './crc32.js';

/**
 * Reads MCAP files, also those that were cut off or damaged: what can be read is read, what cannot is counted.
 *
 *   whole file          footer -> summary -> index of chunks
 *   killed, cut, bent   record by record from the start; behind nonsense, the next chunk is sought
 *
 * Layout: MCAP specification, version 0. A record is an opcode (u8), its length (u64) and its content.
 */
export interface McapFile {
  readonly path: string;
  readonly size: number;
  readonly profile: string;
  readonly library: string;
  /** The file has its index: it was ended properly. */
  readonly complete: boolean;
  readonly channels: ReadonlyMap<number, McapChannel>;
  readonly schemas: ReadonlyMap<number, McapSchema>;
  readonly chunkCount: number;
  readonly damage: Damage;
  /** Time of the first message of a chunk, ns since 1970, to some 0.3 µs. */
  chunkStartNs(chunk: number): number;
  chunkEndNs(chunk: number): number;
  /** Whether the chunk has messages of the channel. */
  chunkHas(chunk: number, channelId: number): boolean;
  /** The last chunk that begins at or before the time; the first one when none does. */
  findChunk(timeNs: number): number;
  /** Visits the messages of a chunk in order. A damaged chunk has none, and is counted once. */
  readChunk(chunk: number, visit: VisitMessage): void;
  close(): void;
}

/** @param data valid only during the call */
export type VisitMessage = (channelId: number, logTimeNs: bigint, data: Uint8Array, view: DataView) => void;

export interface McapChannel {
  topic: string;
  schemaId: number;
  messageEncoding: string;
}

export interface McapSchema {
  name: string;
  encoding: string;
  data: string;
}

export interface Damage {
  /** Chunks that cannot be read. */
  chunks: number;
  /** Bytes passed over: damaged chunks, nonsense between records, an unfinished record at the end. */
  bytes: number;
  /** Messages that are not what their channel says. */
  messages: number;
}

const { Opcode } = McapConstants;
const MAGIC = Uint8Array.of(0x89, 0x4d, 0x43, 0x41, 0x50, 0x30, 0x0d, 0x0a);
const RECORD_HEADER = 9;
const FOOTER_BYTES = RECORD_HEADER + 20;
/** Chunk: start u64, end u64, size u64, crc u32, compression (u32 + text), length of the records u64. */
const CHUNK_FIXED = 40;
const MESSAGE_FIXED = 22;
/** Ours have a quarter of a megabyte. */
const MAX_CHUNK_BYTES = 64 * 1024 * 1024;
/** A day's index has some 20 MB. */
const MAX_SUMMARY_BYTES = 256 * 1024 * 1024;
const WINDOW = 1024 * 1024;
/** Offset of the length field that flags a chunk without an end: what is there is read without its CRC. */
const UNFINISHED = 1;

/** @throws TautlineError when it cannot be opened, or is not an MCAP file */
export function openMcap(path: string): McapFile {
  let fd: number;
  try {
    fd = openSync(path, 'r');
  } catch (error) {
    throw readError(path, error);
  }
  try {
    return readMcap(path, fd);
  } catch (error) {
    closeSync(fd);
    throw error instanceof TautlineError || !(error as NodeJS.ErrnoException).code
      ? error
      : readError(path, error);
  }
}

function readMcap(path: string, fd: number): McapFile {
  const stat = fstatSync(fd);
  if (stat.isDirectory())
    throw new TautlineError('fileInvalid', `${path} is a folder.`, 'Name a session file.');
  const { size } = stat;
  const channels = new Map<number, McapChannel>();
  const schemas = new Map<number, McapSchema>();
  const damage: Damage = { chunks: 0, bytes: 0, messages: 0 };
  const chunks = createChunkTable();
  const condemned = new Set<number>();
  let chunkBuffer = Buffer.alloc(64 * 1024);

  /** Bytes of the file, fewer at its end. */
  function readAt(offset: number, length: number, into?: Buffer): Buffer {
    const buffer = into ?? Buffer.alloc(Math.max(0, Math.min(length, size - offset)));
    let got = 0;
    while (got < length && got < buffer.length) {
      const n = readSync(fd, buffer, got, Math.min(length, buffer.length) - got, offset + got);
      if (n === 0) break;
      got += n;
    }
    return buffer.subarray(0, got);
  }

  const start = readAt(0, 4096);
  if (start.length < MAGIC.length || !MAGIC.every((byte, i) => start[i] === byte)) {
    throw new TautlineError(
      'fileInvalid',
      `${path} is not an MCAP file.`,
      'Name a file that `tautline record` wrote.',
    );
  }
  const header = { profile: '', library: '' };
  const cursor = createCursor(start.subarray(MAGIC.length));
  if (cursor.u8() === Opcode.HEADER) {
    cursor.u64();
    header.profile = cursor.text();
    header.library = cursor.text();
    if (cursor.failed) header.profile = '';
  }

  const complete = readSummary();
  if (!complete) {
    channels.clear();
    schemas.clear();
    chunks.clear();
    scan();
  }

  function readSummary(): boolean {
    const tail = readAt(Math.max(0, size - FOOTER_BYTES - MAGIC.length), FOOTER_BYTES + MAGIC.length);
    if (tail.length < FOOTER_BYTES + MAGIC.length || tail[0] !== Opcode.FOOTER) return false;
    if (!MAGIC.every((byte, i) => tail[FOOTER_BYTES + i] === byte)) return false;
    const footer = createCursor(tail.subarray(RECORD_HEADER));
    const summaryStart = footer.u64();
    footer.u64();
    const wantedCrc = footer.u32();
    const length = size - MAGIC.length - FOOTER_BYTES - summaryStart;
    if (summaryStart === 0 || length < 0 || length > MAX_SUMMARY_BYTES) return false;
    const summary = readAt(summaryStart, length);
    if (wantedCrc !== 0 && crc32(tail.subarray(0, FOOTER_BYTES - 4), crc32(summary)) !== wantedCrc)
      return false;
    const records = createCursor(summary);
    while (records.left > 0) {
      const opcode = records.u8();
      const content = records.bytes(records.u64());
      if (records.failed) return false;
      if (opcode === Opcode.SCHEMA) readSchema(content);
      else if (opcode === Opcode.CHANNEL) readChannel(content);
      else if (opcode === Opcode.CHUNK_INDEX && !readChunkIndex(content)) return false;
    }
    return true;
  }

  function readSchema(content: Buffer): boolean {
    const at = createCursor(content);
    const id = at.u16();
    const schema = { name: at.text(), encoding: at.text(), data: at.text() };
    if (!at.failed) schemas.set(id, schema);
    return !at.failed;
  }

  function readChannel(content: Buffer): boolean {
    const at = createCursor(content);
    const id = at.u16();
    const schemaId = at.u16();
    const channel = { topic: at.text(), schemaId, messageEncoding: at.text() };
    if (!at.failed) channels.set(id, channel);
    return !at.failed;
  }

  /** Start and end u64, offset u64, length u64, message index offsets (u32 + n × (u16, u64)), ... */
  function readChunkIndex(content: Buffer): boolean {
    if (content.length < 36) return false;
    const offset = lengthAt(content, 16);
    const length = lengthAt(content, 24);
    const end = 36 + content.readUInt32LE(32);
    if (end > content.length || length > MAX_CHUNK_BYTES || offset + length > size) return false;
    let mask = 0;
    for (let at = 36; at + 10 <= end; at += 10) mask |= bitOf(content.readUInt16LE(at));
    chunks.add(offset, length, lengthAt(content, 0), lengthAt(content, 8), mask);
    return true;
  }

  /** Finds the chunks of a file without a (sound) index. */
  function scan(): void {
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
          chunks.add(offset, end - offset, lengthAt(head, 9), lengthAt(head, 17), 0);
          learnChannels(chunks.count - 1, end);
          offset = end;
          continue;
        }
        if (opcode === Opcode.MESSAGE_INDEX && length >= 2) {
          const id = readAt(offset + RECORD_HEADER, 2).readUInt16LE();
          if (chunks.count > 0) chunks.mark(chunks.count - 1, bitOf(id));
          offset = end;
          continue;
        }
        if (opcode !== Opcode.CHUNK && opcode !== Opcode.MESSAGE) {
          offset = end;
          continue;
        }
      }
      // Nonsense, or the end of what was written.
      const next = findNextChunk(offset + 1);
      if (next < 0) {
        if (
          opcode === Opcode.CHUNK &&
          got === head.length &&
          isChunk(head, length) &&
          length < MAX_CHUNK_BYTES
        ) {
          chunks.add(offset, size - offset, lengthAt(head, 9), lengthAt(head, 17), -1, UNFINISHED);
          learnChannels(chunks.count - 1, size);
        } else damage.bytes += size - offset;
        break;
      }
      damage.bytes += next - offset;
      offset = next;
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
    let fresh = chunks.mask(chunk) === -1;
    for (let at = end; !fresh && at < size; ) {
      const head = readAt(at, RECORD_HEADER + 2);
      if (head.length < RECORD_HEADER + 2 || head[0] !== Opcode.MESSAGE_INDEX) {
        fresh = at === end;
        break;
      }
      fresh = !channels.has(head.readUInt16LE(RECORD_HEADER));
      at += RECORD_HEADER + lengthAt(head, 1);
    }
    if (fresh || end >= size) readRecords(chunk, () => {});
  }

  function readRecords(chunk: number, visit: VisitMessage): void {
    if (condemned.has(chunk)) return;
    const length = chunks.length(chunk);
    if (chunkBuffer.length < length) chunkBuffer = Buffer.alloc(2 * length);
    const record = readAt(chunks.offset(chunk), length, chunkBuffer.subarray(0, length));
    const unfinished = chunks.flags(chunk) === UNFINISHED;
    const at = createCursor(record);
    const opcode = at.u8();
    at.u64();
    at.u64();
    at.u64();
    const uncompressed = at.u64();
    const crc = at.u32();
    const compression = at.text();
    const stored = at.u64();
    if (!at.failed && opcode === Opcode.CHUNK && compression !== '') {
      throw new TautlineError(
        'fileInvalid',
        `${path}: its chunks are compressed (${printable(compression)}), as this program never does.`,
        'Write it anew without compression.',
      );
    }
    const records = at.bytes(unfinished ? at.left : stored);
    const sound =
      !at.failed &&
      opcode === Opcode.CHUNK &&
      (unfinished || (uncompressed === stored && (crc === 0 || crc32(records) === crc)));
    if (!sound) {
      condemn(chunk, length);
      return;
    }
    visitRecords(chunk, records, unfinished, visit);
  }

  function condemn(chunk: number, bytes: number): void {
    condemned.add(chunk);
    damage.chunks++;
    damage.bytes += bytes;
  }

  function visitRecords(chunk: number, records: Buffer, unfinished: boolean, visit: VisitMessage): void {
    const view = new DataView(records.buffer, records.byteOffset, records.byteLength);
    let offset = 0;
    while (offset < records.length) {
      if (offset + RECORD_HEADER > records.length) break;
      const opcode = records[offset];
      const length = lengthAt(records, offset + 1);
      const content = offset + RECORD_HEADER;
      if (!(content + length <= records.length)) break;
      if (opcode === Opcode.MESSAGE) {
        if (length < MESSAGE_FIXED) break;
        const data = records.subarray(content + MESSAGE_FIXED, content + length);
        visit(view.getUint16(content, true), view.getBigUint64(content + 6, true), data, view);
      } else if (opcode === Opcode.SCHEMA || opcode === Opcode.CHANNEL) {
        const body = records.subarray(content, content + length);
        if (!(opcode === Opcode.SCHEMA ? readSchema(body) : readChannel(body))) break;
      }
      offset = content + length;
    }
    if (offset === records.length) return;
    if (!unfinished) condemn(chunk, records.length - offset);
    else if (!condemned.has(chunk)) {
      damage.bytes += records.length - offset;
      // Its end is counted once; what stands before is read again and again.
      chunks.cut(chunk, records.length - offset);
    }
  }

  return {
    path,
    size,
    ...header,
    complete,
    channels,
    schemas,
    get chunkCount() {
      return chunks.count;
    },
    damage,
    chunkStartNs: chunks.startNs,
    chunkEndNs: chunks.endNs,
    chunkHas: (chunk, channelId) => (chunks.mask(chunk) & bitOf(channelId)) !== 0,
    findChunk(timeNs) {
      let low = 0;
      let high = chunks.count - 1;
      while (low < high) {
        const middle = (low + high + 1) >> 1;
        if (chunks.startNs(middle) <= timeNs) low = middle;
        else high = middle - 1;
      }
      return Math.max(0, low);
    },
    readChunk: readRecords,
    close: () => closeSync(fd),
  };
}

/** Channels share a bit from 31 on: then a chunk is only looked into for nothing. */
const bitOf = (channelId: number): number => 1 << (channelId % 32);

/** Where the chunks are, in columns: a day has 170 000. */
function createChunkTable() {
  const COLUMNS = 6;
  let rows = new Float64Array(COLUMNS * 256);
  let count = 0;
  return {
    get count() {
      return count;
    },
    clear() {
      count = 0;
    },
    add(offset: number, length: number, startNs: number, endNs: number, mask: number, flags = 0) {
      if ((count + 1) * COLUMNS > rows.length) {
        const larger = new Float64Array(2 * rows.length);
        larger.set(rows);
        rows = larger;
      }
      rows.set([offset, length, startNs, endNs, mask, flags], count++ * COLUMNS);
    },
    offset: (i: number) => rows[i * COLUMNS],
    length: (i: number) => rows[i * COLUMNS + 1],
    startNs: (i: number) => rows[i * COLUMNS + 2],
    endNs: (i: number) => rows[i * COLUMNS + 3],
    mask: (i: number) => rows[i * COLUMNS + 4],
    flags: (i: number) => rows[i * COLUMNS + 5],
    mark(i: number, bit: number) {
      rows[i * COLUMNS + 4] |= bit;
    },
    cut(i: number, bytes: number) {
      rows[i * COLUMNS + 1] -= bytes;
    },
  };
}

/** A u64 as a number: exact for every length that a file can have. */
const lengthAt = (bytes: Buffer, offset: number): number =>
  bytes.readUInt32LE(offset) + bytes.readUInt32LE(offset + 4) * 2 ** 32;

/** Reads fields one by one; beyond the end it gives zeros and fails. */
function createCursor(bytes: Buffer) {
  let at = 0;
  let failed = false;
  const take = (length: number): number => {
    if (!(length >= 0 && at + length <= bytes.length)) failed = true;
    if (failed) return -1;
    const from = at;
    at += length;
    return from;
  };
  const number = (length: number, read: (from: number) => number): number => {
    const from = take(length);
    return from < 0 ? 0 : read(from);
  };
  const cursor = {
    get failed() {
      return failed;
    },
    get left() {
      return failed ? 0 : bytes.length - at;
    },
    u8: () => number(1, (from) => bytes[from]),
    u16: () => number(2, (from) => bytes.readUInt16LE(from)),
    u32: () => number(4, (from) => bytes.readUInt32LE(from)),
    u64: () => number(8, (from) => lengthAt(bytes, from)),
    bytes(length: number): Buffer {
      const from = take(length);
      return from < 0 ? bytes.subarray(0, 0) : bytes.subarray(from, from + length);
    },
    text: (): string => cursor.bytes(cursor.u32()).toString('utf8'),
  };
  return cursor;
}

const printable = (text: string): string => text.slice(0, 20).replace(/[^\x20-\x7e]/g, '?');

function readError(path: string, error: unknown): TautlineError {
  const { code, message } = error as NodeJS.ErrnoException;
  const cause = { cause: error };
  if (code === 'ENOENT' || code === 'ENOTDIR') {
    return new TautlineError('fileNotFound', `${path}: no such file.`, 'Check the path.', cause);
  }
  if (code === 'EACCES' || code === 'EPERM') {
    return new TautlineError(
      'fileDenied',
      `${path}: no permission to read it.`,
      'Change its permissions.',
      cause,
    );
  }
  return new TautlineError('fileInvalid', `${path}: cannot be read (${code ?? message}).`, undefined, cause);
}
