"""Feeds the Python client's reader bytes that no service sends: hostile.py VECTORS COUNT SEED. Prints what came of it.

Whatever comes, it must be a message, the end, or a ConnectionError of one line, and soon.
"""

import json
import random
import sys
import time

from tautline_client import Pose, _Protocol

with open(sys.argv[1], encoding="utf8") as file:
    RECORDS = [bytes.fromhex(record["hex"]) for record in json.load(file)["records"]]
TEXTS = [
    b'{"type":"welcome","server":{"version":"1"},"hands":[{"hand":"right","armed":true}]}',
    b'{"type":"resistance","hand":"right","armed":true,"fingers":{}}',
    b'{"type":"gestures","hand":"right","touches":[{"by":"a","layer":"b","fingers":["thumb"],"carried":true}]}',
    b'{"type":"error","id":1,"code":"tryAgain","message":"Ask again."}',
    b'{"type":"ack","id":' + b"9" * 5000 + b"}",
    b"[" * 100_000,
    b'"\xff\xfe"',
    b"null",
]
random.seed(int(sys.argv[3]))
counts = {"messages": 0, "errors": 0, "ends": 0, "starved": 0}
longest = 0.0


def frame(opcode, payload):
    first = bytes([0x80 | opcode if random.random() < 0.9 else random.randrange(256)])
    if len(payload) < 126:
        return first + bytes([len(payload)]) + payload
    if len(payload) < 65536:
        return first + bytes([126]) + len(payload).to_bytes(2, "big") + payload
    return first + bytes([127]) + len(payload).to_bytes(8, "big") + payload


def damaged(data):
    data = bytearray(data)
    for _ in range(random.randrange(4)):
        if data:
            data[random.randrange(len(data))] = random.randrange(256)
    return bytes(data[:random.randrange(len(data) + 1)] if random.random() < 0.2 else data)


for _ in range(int(sys.argv[2])):
    protocol = _Protocol("ws://127.0.0.1:7117/stream", None)
    if random.random() < 0.3:
        # The answer to the opening.
        protocol.feed(damaged(b"HTTP/1.1 101 Switching Protocols\r\nSec-WebSocket-Accept: AAAA\r\n\r\n") or b"x")
        step = protocol.opened
    else:
        opcode, payload = random.choice([(2, random.choice(RECORDS)), (1, random.choice(TEXTS)), (random.randrange(16), b"")])
        protocol.feed(damaged(frame(opcode, damaged(payload))) or b"x")
        step = protocol.next
    began = time.perf_counter()
    try:
        got = step()
        kind = got[0] if isinstance(got, tuple) else "more"
        if kind == "message":
            assert isinstance(got[1], (Pose, dict))
        counts["messages" if kind == "message" else "ends" if kind == "end" else "starved"] += 1
    except ConnectionError as error:
        assert "\n" not in str(error), str(error)
        counts["errors"] += 1
    longest = max(longest, time.perf_counter() - began)
print(json.dumps({**counts, "longestMs": longest * 1000}))
