"""A client for the Tautline stream in one file: Python 3.9 or later, standard library only.

    python3 tautline_client.py --url ws://127.0.0.1:7117/stream --poses 100

As a module:

    from tautline_client import Client
    with Client("ws://127.0.0.1:7117/stream") as client:
        client.ask({"type": "subscribe", "streams": ["joints"]})
        for message in client:
            if isinstance(message, Pose):
                print(message.hand, message.position("index-finger-tip"))

No app arms a glove: `client.wait_until_armed("right")` waits until the wearer has, and `client.how_to_arm("right")`
says how, for the app to show.

It reads the binary form of the poses. Whatever needs renewing (`touch`, `resist`) is the caller's to renew, at
least every 200 ms: the service forgets a request after 250 ms, so that a program that hangs holds no finger.
"""

import argparse
import base64
import hashlib
import json
import os
import socket
import ssl
import struct
import sys
from collections import deque
from urllib.parse import urlsplit

FINGERS = ("thumb", "index", "middle", "ring", "little")
JOINT_NAMES = (
    "palm", "wrist",
    "thumb-metacarpal", "thumb-phalanx-proximal", "thumb-phalanx-distal", "thumb-tip",
) + tuple(
    f"{finger}-finger-{part}"
    for finger in ("index", "middle", "ring", "pinky")
    for part in ("metacarpal", "phalanx-proximal", "phalanx-intermediate", "phalanx-distal", "tip")
)
_JOINT = {name: i for i, name in enumerate(JOINT_NAMES)}
_STATES = ("invalid", "inferred", "tracked", "invalid")
_HEAD = struct.Struct("<BBBBIdHH")
_POSES = struct.Struct("<208f")
_VELOCITIES = struct.Struct("<156f")
_PRESSURES = struct.Struct("<5f")
_ACCEPT = "258EAFA5-E914-47DA-95CA-C5AB0DC85B11"  # RFC 6455, 1.3
_LARGEST = 1 << 20


class Refused(Exception):
    """The service answered a request with an error; `code` says which."""

    def __init__(self, message):
        super().__init__(message["message"])
        self.code = message["code"]
        self.path = message.get("path")


class Pose:
    """One pose of one hand: 26 joints, metres, unit quaternions x y z w."""

    def __init__(self, record):
        kind, hand, flags, joints, self.seq, self.time_us, states, reason = _HEAD.unpack_from(record)
        if kind != 1 or joints != 26:
            raise ValueError("not a joints record")
        self.hand = ("left", "right")[hand]
        self.valid = bool(flags & 1)
        self.space = "world" if flags & 4 else "wrist"
        self.recorded = bool(flags & 16)  # a session is replayed
        self.pose_time_us = self.time_us + 1000 * (states >> 10)  # what the pose is predicted for
        self.fingers = {name: _STATES[states >> 2 * i & 3] for i, name in enumerate(FINGERS)}
        self.poses = _POSES.unpack_from(record, _HEAD.size)
        end = _HEAD.size + _POSES.size
        self.velocities = None
        if flags & 2:
            self.velocities = _VELOCITIES.unpack_from(record, end)
            end += _VELOCITIES.size
        self.pressures = None  # thumb first, 0..1, if subscribed with surface
        if flags & 8:
            self.pressures = _PRESSURES.unpack_from(record, end)
            end += _PRESSURES.size
        self.reason = record[end:end + reason].decode() if reason else None

    def position(self, joint):
        """x, y, z of a joint, m."""
        at = _JOINT[joint] * 8
        return self.poses[at:at + 3]

    def orientation(self, joint):
        """Unit quaternion x, y, z, w of a joint."""
        at = _JOINT[joint] * 8 + 3
        return self.poses[at:at + 4]

    def radius(self, joint):
        """From the joint to the skin, m."""
        return self.poses[_JOINT[joint] * 8 + 7]


class Client:
    """One connection. Iterating gives what the service sends: `Pose` objects and messages as dicts."""

    def __init__(self, url="ws://127.0.0.1:7117/stream", token=None, timeout=10.0):
        parts = urlsplit(url)
        secure = parts.scheme == "wss"
        host = parts.hostname
        port = parts.port or (443 if secure else 80)
        self._socket = socket.create_connection((host, port), timeout)
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        if secure:
            self._socket = ssl.create_default_context().wrap_socket(self._socket, server_hostname=host)
        self._buffer = bytearray()
        self._queue = deque()
        self._last_id = 0
        self._handshake(parts, token)
        self.welcome = self._next()

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()

    def __iter__(self):
        while True:
            message = self._queue.popleft() if self._queue else self._next()
            if message is None:
                return
            yield message

    def ask(self, request):
        """Sends a request and returns its ack. Raises Refused. What comes in between is kept for the iteration."""
        self._last_id += 1
        self.send({**request, "id": self._last_id})
        while True:
            message = self._next()
            if message is None:
                raise ConnectionError("the service ended the connection")
            if isinstance(message, dict) and message.get("id") == self._last_id:
                if message["type"] == "error":
                    raise Refused(message)
                return message
            self._queue.append(message)

    def how_to_arm(self, hand):
        """How the wearer of that hand arms, in words that complete "To arm: ..."."""
        return next((one["howToArm"] for one in self.welcome["hands"] if one["hand"] == hand), "connect the glove")

    def wait_until_armed(self, hand):
        """Returns once the wearer has armed that hand. Poses that come meanwhile are dropped. Replaces a subscription."""
        self.ask({"type": "subscribe", "streams": ["resistance"]})
        for message in self:
            if isinstance(message, dict) and message["type"] == "resistance":
                if message["hand"] == hand and message["armed"]:
                    return
        raise ConnectionError("the service ended the connection")

    def send(self, request):
        """Sends a request without waiting for the answer."""
        self._frame(1, json.dumps(request).encode())

    def close(self):
        """Says goodbye. The service frees at once what this client held."""
        try:
            self._frame(8, struct.pack("!H", 1000))
        except OSError:
            pass
        self._socket.close()

    # ---- WebSocket, RFC 6455 ----

    def _handshake(self, parts, token):
        key = base64.b64encode(os.urandom(16)).decode()
        path = (parts.path or "/stream") + (f"?{parts.query}" if parts.query else "")
        lines = [
            f"GET {path} HTTP/1.1",
            f"Host: {parts.netloc.rpartition('@')[2]}",
            "Upgrade: websocket",
            "Connection: Upgrade",
            f"Sec-WebSocket-Key: {key}",
            "Sec-WebSocket-Version: 13",
            "Sec-WebSocket-Protocol: tautline.binary.v1",
        ]
        if token:
            lines.append(f"Authorization: Bearer {token}")
        self._socket.sendall(("\r\n".join(lines) + "\r\n\r\n").encode())
        while b"\r\n\r\n" not in self._buffer:
            self._receive()
        head, _, rest = bytes(self._buffer).partition(b"\r\n\r\n")
        self._buffer = bytearray(rest)
        status, *headers = head.decode("latin-1").split("\r\n")
        if " 101 " not in f"{status} ":
            raise ConnectionError(f"the service refused: {status} {rest.decode(errors='replace')}")
        fields = {name.strip().lower(): value.strip() for name, _, value in (h.partition(":") for h in headers)}
        accept = base64.b64encode(hashlib.sha1((key + _ACCEPT).encode()).digest()).decode()
        if fields.get("sec-websocket-accept") != accept:
            raise ConnectionError("this is not a WebSocket service")

    def _receive(self):
        chunk = self._socket.recv(65536)
        if not chunk:
            raise ConnectionError("the connection ended")
        self._buffer += chunk

    def _take(self, count):
        while len(self._buffer) < count:
            self._receive()
        taken = bytes(self._buffer[:count])
        del self._buffer[:count]
        return taken

    def _frame(self, opcode, payload):
        mask = os.urandom(4)
        length = len(payload)
        head = bytes([0x80 | opcode])
        if length < 126:
            head += bytes([0x80 | length])
        elif length < 65536:
            head += struct.pack("!BH", 0x80 | 126, length)
        else:
            head += struct.pack("!BQ", 0x80 | 127, length)
        masked = bytes(byte ^ mask[i & 3] for i, byte in enumerate(payload))
        self._socket.sendall(head + mask + masked)

    def _next(self):
        """The next message; None when the service said goodbye."""
        whole, kind = b"", 0
        while True:
            first, second = self._take(2)
            opcode, length = first & 15, second & 127
            if length == 126:
                (length,) = struct.unpack("!H", self._take(2))
            elif length == 127:
                (length,) = struct.unpack("!Q", self._take(8))
            if length > _LARGEST or second & 128:
                raise ConnectionError("a frame that no service of this kind sends")
            payload = self._take(length)
            if opcode == 8:
                return None
            if opcode == 9:
                self._frame(10, payload)
            elif opcode < 3:
                kind = opcode or kind
                whole += payload
                if first & 0x80:
                    return Pose(whole) if kind == 2 else json.loads(whole)


def main():
    parser = argparse.ArgumentParser(description="Prints the index finger tip of each pose.")
    parser.add_argument("--url", default="ws://127.0.0.1:7117/stream")
    parser.add_argument("--token")
    parser.add_argument("--poses", type=int, default=0, help="end after so many; 0: never")
    options = parser.parse_args()
    count = 0
    with Client(options.url, options.token) as client:
        client.ask({"type": "subscribe", "app": "python example", "streams": ["joints"]})
        for message in client:
            if not isinstance(message, Pose):
                continue
            x, y, z = message.position("index-finger-tip")
            print(f"{message.hand} {message.seq} {message.time_us:.0f} {int(message.valid)} {x:.4f} {y:.4f} {z:.4f}")
            count += 1
            if count == options.poses:
                break


if __name__ == "__main__":
    try:
        main()
    except KeyboardInterrupt:
        pass
    except (OSError, Refused) as error:
        sys.exit(f"tautline_client: {error}")
