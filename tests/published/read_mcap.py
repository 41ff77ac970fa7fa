"""An independent reader of MCAP, for tests: the Python standard library alone, written from the published MCAP
specification, version 0 (from memory). Reads a file front to back, checks every length and CRC, and holds the index
and the statistics at its end against what it met. Prints one JSON object.
"""

import collections
import json
import struct
import sys
import zlib

MAGIC = b"\x89MCAP0\r\n"
HEADER, FOOTER, SCHEMA, CHANNEL, MESSAGE, CHUNK, MESSAGE_INDEX, CHUNK_INDEX = range(1, 9)
STATISTICS, SUMMARY_OFFSET, DATA_END = 0x0B, 0x0E, 0x0F


class Cursor:
    def __init__(self, data, at=0):
        self.data, self.at = data, at

    def take(self, size):
        assert self.at + size <= len(self.data), "runs over its end"
        self.at += size
        return self.data[self.at - size : self.at]

    def read(self, form):
        return struct.unpack("<" + form, self.take(struct.calcsize("<" + form)))

    def one(self, form):
        return self.read(form)[0]

    def text(self):
        return self.take(self.one("I")).decode("utf-8")

    def pairs(self, form):
        inner = Cursor(self.take(self.one("I")))
        found = []
        while inner.at < len(inner.data):
            found.append(inner.read(form))
        return found


def records(data, at, end):
    """Opcode, content, offset of the record and of what follows it."""
    cursor = Cursor(data[:end], at)
    while cursor.at < end:
        start = cursor.at
        opcode, length = cursor.read("BQ")
        yield opcode, cursor.take(length), start, cursor.at


def main(path):
    with open(path, "rb") as file:
        data = file.read()
    assert data[:8] == MAGIC and data[-8:] == MAGIC, "magic bytes"
    end = len(data) - 8
    channels, schemas, counts, indexed = {}, {}, collections.Counter(), {}
    chunks, times, summary_counts, stats, footer, header = [], [], {}, None, None, None
    in_summary, summary_start, order = False, None, []

    def define(opcode, content):
        cursor = Cursor(content)
        if opcode == SCHEMA:
            schema_id, name, encoding = cursor.one("H"), cursor.text(), cursor.text()
            body = cursor.take(cursor.one("I"))
            assert schema_id != 0
            assert schemas.setdefault(schema_id, (name, encoding, body)) == (name, encoding, body)
        else:
            channel_id, schema_id = cursor.read("HH")
            found = (schema_id, cursor.text(), cursor.text())
            cursor.take(cursor.one("I"))
            assert schema_id in schemas, "a channel before its schema"
            assert channels.setdefault(channel_id, found) == found
        assert cursor.at == len(content)

    for opcode, content, start, after in records(data, 8, end):
        cursor = Cursor(content)
        if opcode == HEADER:
            assert start == 8
            header = {"profile": cursor.text(), "library": cursor.text()}
        elif opcode in (SCHEMA, CHANNEL):
            define(opcode, content)
        elif opcode == CHUNK:
            first, last, size, crc, compression = *cursor.read("QQQI"), cursor.text()
            assert compression == "", "only uncompressed chunks are read here"
            body = cursor.take(cursor.one("Q"))
            assert len(body) == size
            assert crc == 0 or crc == zlib.crc32(body), "CRC of a chunk"
            seen = []
            where = collections.defaultdict(list)
            for inner, part, at, _ in records(body, 0, len(body)):
                if inner != MESSAGE:
                    assert inner in (SCHEMA, CHANNEL)
                    define(inner, part)
                    continue
                channel_id, _, log_time, _ = Cursor(part).read("HIQQ")
                assert channel_id in channels, "a message before its channel"
                counts[channels[channel_id][1]] += 1
                where[channel_id].append((log_time, at))
                seen.append(log_time)
            assert not seen or (min(seen), max(seen)) == (first, last), "times of a chunk"
            times += seen
            indexed = {}
            chunks.append([start, after - start, first, last, where, indexed])
        elif opcode == MESSAGE_INDEX:
            channel_id = cursor.one("H")
            pairs = cursor.pairs("QQ")
            assert sorted(pairs) == sorted(chunks[-1][4][channel_id]), "index of a chunk"
            indexed[channel_id] = start
        elif opcode == DATA_END:
            crc = cursor.one("I")
            assert crc == 0 or crc == zlib.crc32(data[:start]), "CRC of the data"
            in_summary, summary_start = True, after
        elif opcode == CHUNK_INDEX:
            assert in_summary
            first, last, at, length = cursor.read("QQQQ")
            offsets = dict(cursor.pairs("HQ"))
            expected = chunks[len(order)]
            assert [at, length, first, last] == expected[:4], "index of the chunks"
            assert offsets == expected[5], "offsets of the message indexes"
            assert set(offsets) == {channel for channel, found in expected[4].items() if found}
            order.append(at)
        elif opcode == STATISTICS:
            total, n_schemas, n_channels, _, _, n_chunks, first, last = cursor.read("QHIIIIQQ")
            summary_counts = {channels[key][1]: count for key, count in cursor.pairs("HQ") if count}
            assert (n_schemas, n_channels, n_chunks) == (len(schemas), len(channels), len(chunks))
            assert total == len(times) and (first, last) == (min(times), max(times))
            stats = total
        elif opcode == FOOTER:
            at, offsets_at, crc = cursor.read("QQI")
            assert at == summary_start, "start of the summary"
            assert crc == 0 or crc == zlib.crc32(data[at : after - 4]), "CRC of the summary"
            footer = after
    assert footer == end and header and stats is not None
    assert len(order) == len(chunks) and summary_counts == dict(counts)
    print(json.dumps({**header, "chunks": len(chunks), "messages": stats, "counts": counts}))


main(sys.argv[1])
