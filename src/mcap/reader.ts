import { closeSync, fstatSync, openSync, readSync } from 'node:fs';
import { TautlineError } from '../errors.js';
import { createChunkTable } from './chunk-table.js';
import { crc32 } from './crc32.js';
import {
  createCursor,
  FOOTER_BYTES,
  lengthAt,
  MAGIC,
  MAX_CHUNK_BYTES,
  MESSAGE_FIXED,
  Opcode,
  RECORD_HEADER,
} from './layout.js';
import { scanChunks } from './scan.js';

/**
 * Reads MCAP files, including truncated and damaged ones: what can be read is read, the rest is counted.
 *
 *   whole file          footer -> summary -> index of chunks
 *   killed, cut, bent   no sound index: scan for chunks (scan.ts)
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
  /** Bytes skipped: damaged chunks, garbage between records, an unfinished record at the end. */
  bytes: number;
  /** Messages that do not match their channel. */
  messages: number;
}

/** A day's index has some 20 MB. */
const MAX_SUMMARY_BYTES = 256 * 1024 * 1024;

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
    scanChunks({
      size,
      readAt,
      chunks,
      damage,
      knows: (channelId) => channels.has(channelId),
      learn: (chunk) => readRecords(chunk, () => {}),
    });
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
    chunks.add(offset, length, lengthAt(content, 0), lengthAt(content, 8));
    for (let at = 36; at + 10 <= end; at += 10) chunks.mark(chunks.count - 1, content.readUInt16LE(at));
    return true;
  }

  function readRecords(chunk: number, visit: VisitMessage): void {
    if (condemned.has(chunk)) return;
    const length = chunks.length(chunk);
    if (chunkBuffer.length < length) chunkBuffer = Buffer.alloc(2 * length);
    const record = readAt(chunks.offset(chunk), length, chunkBuffer.subarray(0, length));
    const unfinished = chunks.unfinished(chunk);
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
        `${path}: its chunks are compressed (${printable(compression)}), which this program does not read.`,
        'Write it again without compression.',
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
      // Its end is counted once; the part before it may be read many times.
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
    chunkHas: chunks.has,
    findChunk: chunks.find,
    readChunk: readRecords,
    close: () => closeSync(fd),
  };
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
