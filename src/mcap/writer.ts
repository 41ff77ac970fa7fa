import { McapChunkBuilder, McapConstants, McapRecordBuilder } from '@mcap/core';
import { crc32 } from './crc32.js';

/**
 * Writes MCAP (version 0 of its specification): messages are gathered in chunks; each chunk leaves with its
 * message indexes in one piece. The caller decides when: whatever is in an open chunk is lost with the process.
 * The records are `@mcap/core`'s; its own writer closes a chunk by size alone.
 */
export interface McapWriter {
  /** Bytes written so far. */
  readonly bytes: number;
  /** Bytes waiting in the open chunk. */
  readonly openBytes: number;
  addSchema(name: string, encoding: string, data: Uint8Array): number;
  addChannel(schemaId: number, topic: string, messageEncoding: string): number;
  /**
   * @param logTimeNs since 1970
   * @param data copied
   */
  addMessage(channelId: number, logTimeNs: bigint, data: Uint8Array): void;
  addMetadata(name: string, entries: Record<string, string>): void;
  /** Closes the chunk, if anything is in it. */
  flush(): void;
  /** Closes the file with its index. */
  end(): void;
}

/** Keeps one read of a chunk, and what a damaged one costs, small. */
const MAX_CHUNK_BYTES = 256 * 1024;

/** @param write takes each piece; it is the taker's */
export function createMcapWriter(
  write: (bytes: Uint8Array) => void,
  header: { profile: string; library: string },
): McapWriter {
  const records = new McapRecordBuilder();
  const chunk = new McapChunkBuilder({ useMessageIndex: true });
  const schemas: Parameters<McapRecordBuilder['writeSchema']>[0][] = [];
  const channels: { info: Parameters<McapRecordBuilder['writeChannel']>[0]; messages: number }[] = [];
  const known = { schemas: new Set<number>(), channels: new Set<number>() };
  /** Chunk and metadata indexes as they will stand in the file: some 100 bytes a chunk. */
  const chunkIndex = new McapRecordBuilder();
  const metadataIndex = new McapRecordBuilder();
  let bytes = 0;
  let dataCrc = 0;
  let chunkCount = 0;
  let metadataCount = 0;
  let messageCount = 0;
  let startNs = 0n;
  let endNs = 0n;

  function give(): void {
    const piece = records.buffer;
    records.reset();
    bytes += piece.length;
    write(piece);
    dataCrc = crc32(piece, dataCrc);
  }

  records.writeMagic();
  records.writeHeader(header);
  give();

  function flush(): void {
    if (chunk.numMessages === 0) return;
    const data = chunk.buffer;
    const { messageStartTime, messageEndTime } = chunk;
    const size = BigInt(data.length);
    const start = BigInt(bytes);
    const chunkLength = records.writeChunk({
      messageStartTime,
      messageEndTime,
      uncompressedSize: size,
      uncompressedCrc: crc32(data),
      compression: '',
      records: data,
    });
    const messageIndexOffsets = new Map<number, bigint>();
    let messageIndexLength = 0n;
    for (const index of chunk.indices) {
      if (index.records.length === 0) continue;
      messageIndexOffsets.set(index.channelId, start + chunkLength + messageIndexLength);
      messageIndexLength += records.writeMessageIndex(index);
    }
    chunkIndex.writeChunkIndex({
      messageStartTime,
      messageEndTime,
      chunkStartOffset: start,
      chunkLength,
      messageIndexOffsets,
      messageIndexLength,
      compression: '',
      compressedSize: size,
      uncompressedSize: size,
    });
    chunkCount++;
    chunk.reset();
    give();
  }

  return {
    get bytes() {
      return bytes;
    },
    get openBytes() {
      return chunk.byteLength;
    },
    addSchema(name, encoding, data) {
      // 0 means "no schema".
      const id = schemas.length + 1;
      schemas.push({ id, name, encoding, data });
      return id;
    },
    addChannel(schemaId, topic, messageEncoding) {
      const id = channels.length + 1;
      channels.push({ info: { id, schemaId, topic, messageEncoding, metadata: new Map() }, messages: 0 });
      return id;
    },
    addMessage(channelId, logTime, data) {
      const channel = channels[channelId - 1];
      const { schemaId } = channel.info;
      if (!known.channels.has(channelId)) {
        if (schemaId > 0 && !known.schemas.has(schemaId)) chunk.addSchema(schemas[schemaId - 1]);
        chunk.addChannel(channel.info);
        known.schemas.add(schemaId);
        known.channels.add(channelId);
      }
      chunk.addMessage({ channelId, sequence: channel.messages++, logTime, publishTime: logTime, data });
      if (messageCount++ === 0 || logTime < startNs) startNs = logTime;
      if (logTime > endNs) endNs = logTime;
      if (chunk.byteLength >= MAX_CHUNK_BYTES) flush();
    },
    addMetadata(name, entries) {
      flush();
      const length = records.writeMetadata({ name, metadata: new Map(Object.entries(entries)) });
      metadataIndex.writeMetadataIndex({ name, offset: BigInt(bytes), length });
      metadataCount++;
      give();
    },
    flush,
    end() {
      flush();
      records.writeDataEnd({ dataSectionCrc: dataCrc });
      give();
      const summaryStart = BigInt(bytes);
      const groups: { groupOpcode: number; groupStart: bigint; groupLength: bigint }[] = [];
      const group = (groupOpcode: number, add: () => void): void => {
        const from = records.length;
        add();
        const groupLength = BigInt(records.length - from);
        if (groupLength > 0n)
          groups.push({ groupOpcode, groupStart: summaryStart + BigInt(from), groupLength });
      };
      const { Opcode } = McapConstants;
      const used = channels.filter(({ messages }) => messages > 0);
      const usedSchemas = schemas.filter(({ id }) => known.schemas.has(id));
      group(Opcode.SCHEMA, () => {
        for (const schema of usedSchemas) records.writeSchema(schema);
      });
      group(Opcode.CHANNEL, () => {
        for (const { info } of used) records.writeChannel(info);
      });
      group(Opcode.STATISTICS, () =>
        records.writeStatistics({
          messageCount: BigInt(messageCount),
          schemaCount: usedSchemas.length,
          channelCount: used.length,
          attachmentCount: 0,
          metadataCount,
          chunkCount,
          messageStartTime: startNs,
          messageEndTime: endNs,
          channelMessageCounts: new Map(used.map(({ info, messages }) => [info.id, BigInt(messages)])),
        }),
      );
      const summary = records.buffer;
      records.reset();
      const indexes = [
        [Opcode.METADATA_INDEX, metadataIndex.buffer],
        [Opcode.CHUNK_INDEX, chunkIndex.buffer],
      ] as const;
      let end = summaryStart + BigInt(summary.length);
      for (const [groupOpcode, { length }] of indexes) {
        if (length > 0) groups.push({ groupOpcode, groupStart: end, groupLength: BigInt(length) });
        end += BigInt(length);
      }
      for (const entry of groups) records.writeSummaryOffset(entry);
      const offsets = records.buffer;
      records.reset();

      const pieces = [summary, ...indexes.map(([, piece]) => piece), offsets];
      let summaryCrc = 0;
      for (const piece of pieces) summaryCrc = crc32(piece, summaryCrc);
      records.writeFooter({ summaryStart, summaryOffsetStart: end, summaryCrc: 0 });
      // The footer's own CRC field is its last four bytes: what stands before them is part of the sum.
      summaryCrc = crc32(records.buffer.subarray(0, -4), summaryCrc);
      records.reset();
      records.writeFooter({ summaryStart, summaryOffsetStart: end, summaryCrc });
      records.writeMagic();
      for (const piece of [...pieces, records.buffer]) {
        bytes += piece.length;
        write(piece);
      }
    },
  };
}
