"""A client for the Tautline stream in one file: Python 3.9 or later, standard library only.

    python3 tautline_client.py --url ws://127.0.0.1:7117/stream --poses 100

As a module, waiting for one message after the other:

    from tautline_client import Client, Pose
    with Client() as client:
        client.ask({"type": "subscribe", "streams": ["joints"]})
        for message in client:
            if isinstance(message, Pose):
                print(message.hand, message.position("index-finger-tip"))

With asyncio, where a slow program gets the newest pose, what is held is renewed, and a lost connection is made again:

    from tautline_client import AsyncClient
    async with AsyncClient(reconnect=True) as client:
        await client.ask({"type": "subscribe", "streams": ["joints"]})
        async for message in client:
            ...

No app arms a glove: `client.wait_until_armed("right")` waits until the wearer has, and `client.how_to_arm("right")`
says how, for the app to show.

It reads the binary form of the poses; with NumPy installed, `pose.joint_array` is an array of them. What `Client` sends
that needs renewing (`touch`, `resist`) is the caller's to renew, at least every 200 ms: the service forgets a request
after 250 ms, so that a program that hangs holds no finger. `AsyncClient.hold` renews by itself.
"""

from __future__ import annotations

import argparse
import asyncio
import base64
import copy
import functools
import hashlib
import importlib
import json
import logging
import math
import os
import random
import socket
import ssl
import struct
import sys
import time
from collections import deque
from typing import Any, AsyncIterator, Dict, Iterator, List, Optional, Tuple, Union, cast
from urllib.parse import SplitResult, urlsplit

__version__ = "0.1.0"
FINGERS: Tuple[str, ...] = ("thumb", "index", "middle", "ring", "little")
JOINT_NAMES: Tuple[str, ...] = (
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
# What is read of messages without being asked for; the lists are of objects.
_NEEDED: Dict[str, Dict[str, type]] = {
    "welcome": {"hands": list},
    "error": {"code": str, "message": str},
    "resistance": {"hand": str, "armed": bool},
    "gestures": {"hand": str, "touches": list},
}
_log = logging.getLogger("tautline")


class Refused(Exception):
    """The service answered a request with an error; `code` says which."""

    def __init__(self, message: Dict[str, Any]) -> None:
        super().__init__(message["message"])
        self.code: str = message["code"]
        self.path: Optional[str] = message.get("path")


class Pose:
    """One pose of one hand: 26 joints, metres, unit quaternions x y z w. ValueError if the bytes are none."""

    def __init__(self, record: bytes) -> None:
        if len(record) < _HEAD.size + _POSES.size:
            raise ValueError(f"not a joints record: {len(record)} bytes")
        kind, hand, flags, joints, seq, time_us, states, reason = _HEAD.unpack_from(record)
        if kind != 1 or joints != 26 or hand > 1:
            raise ValueError("not a joints record")
        self.seq: int = seq
        self.time_us: float = time_us
        self.hand: str = ("left", "right")[hand]
        self.valid: bool = bool(flags & 1)
        self.space: str = "world" if flags & 4 else "wrist"
        self.recorded: bool = bool(flags & 16)  # a session is replayed
        self.pose_time_us: float = self.time_us + 1000 * (states >> 10)  # what the pose is predicted for
        self.fingers: Dict[str, str] = {name: _STATES[states >> 2 * i & 3] for i, name in enumerate(FINGERS)}
        end = _HEAD.size + _POSES.size
        sizes = (_VELOCITIES.size if flags & 2 else 0) + (_PRESSURES.size if flags & 8 else 0) + reason
        if len(record) != end + sizes:
            raise ValueError(f"damaged joints record: {len(record)} bytes")
        self._record = bytes(record)
        self.poses: Tuple[float, ...] = _POSES.unpack_from(record, _HEAD.size)
        self.velocities: Optional[Tuple[float, ...]] = None
        if flags & 2:
            self.velocities = _VELOCITIES.unpack_from(record, end)
            end += _VELOCITIES.size
        self.pressures: Optional[Tuple[float, ...]] = None  # thumb first, 0..1, if subscribed with surface
        if flags & 8:
            self.pressures = _PRESSURES.unpack_from(record, end)
            end += _PRESSURES.size
        numbers = (self.time_us, *self.poses, *(self.velocities or ()), *(self.pressures or ()))
        if not math.isfinite(sum(numbers)):
            raise ValueError("damaged joints record: a number is not finite")
        self.reason: Optional[str] = record[end:].decode(errors="replace") if reason else None

    def position(self, joint: str) -> Tuple[float, ...]:
        """x, y, z of a joint, m."""
        at = _JOINT[joint] * 8
        return self.poses[at:at + 3]

    def orientation(self, joint: str) -> Tuple[float, ...]:
        """Unit quaternion x, y, z, w of a joint."""
        at = _JOINT[joint] * 8 + 3
        return self.poses[at:at + 4]

    def radius(self, joint: str) -> float:
        """From the joint to the skin, m."""
        return self.poses[_JOINT[joint] * 8 + 7]

    def lost(self, why: str) -> Pose:
        """The same pose, as one that is not valid any more."""
        gone = copy.copy(self)
        gone.valid, gone.reason = False, why
        gone.fingers = {name: "invalid" for name in FINGERS}
        return gone

    @property
    def joint_array(self) -> Any:
        """26 x [x, y, z, qx, qy, qz, qw, radius], a read-only NumPy array over the record itself. Needs NumPy."""
        return _array(self._record, _HEAD.size, 8)

    @property
    def velocity_array(self) -> Any:
        """26 x [vx, vy, vz, wx, wy, wz] likewise; None unless velocities are subscribed."""
        return None if self.velocities is None else _array(self._record, _HEAD.size + _POSES.size, 6)


def _array(record: bytes, offset: int, stride: int) -> Any:
    try:
        numpy: Any = importlib.import_module("numpy")
    except ImportError:
        raise ImportError("arrays need NumPy (pip install numpy); poses and velocities are tuples without it") from None
    return numpy.frombuffer(record, "<f4", 26 * stride, offset).reshape(26, stride)


Message = Union[Pose, Dict[str, Any]]
Request = Dict[str, Any]


class _Protocol:
    """WebSocket, RFC 6455, without a socket: bytes go in, messages come out."""

    def __init__(self, url: Optional[str], token: Optional[str]) -> None:
        if url is None:
            url = os.environ.get("TAUTLINE_STREAM")
            token = token or (os.environ.get("TAUTLINE_TOKEN") if url else None)
            url = url or "ws://127.0.0.1:7117/stream"
        parts = urlsplit(url)
        if parts.scheme not in ("ws", "wss") or not parts.hostname:
            raise ValueError(f"the address of the service is ws://HOST:PORT/stream, not {url!r}")
        self.secure = parts.scheme == "wss"
        self.host: str = parts.hostname
        self.port: int = parts.port or (443 if self.secure else 80)
        self._key = base64.b64encode(os.urandom(16)).decode()
        self.opening = self._request(parts, token)
        self.welcomed = False
        self._buffer = bytearray()
        self._whole = b""
        self._kind = 0

    def _request(self, parts: SplitResult, token: Optional[str]) -> bytes:
        path = (parts.path or "/stream") + (f"?{parts.query}" if parts.query else "")
        lines = [
            f"GET {path} HTTP/1.1",
            f"Host: {parts.netloc.rpartition('@')[2]}",
            "Upgrade: websocket",
            "Connection: Upgrade",
            f"Sec-WebSocket-Key: {self._key}",
            "Sec-WebSocket-Version: 13",
            "Sec-WebSocket-Protocol: tautline.binary.v1",
        ]
        if token:
            lines.append(f"Authorization: Bearer {token}")
        return ("\r\n".join(lines) + "\r\n\r\n").encode()

    def feed(self, chunk: bytes) -> None:
        """What came; empty at the end of the connection."""
        if not chunk:
            raise ConnectionError("the connection ended")
        self._buffer += chunk

    def opened(self) -> bool:
        """Whether the service's answer to the opening is there and right."""
        head, blank, rest = bytes(self._buffer).partition(b"\r\n\r\n")
        if not blank:
            if len(head) > 16384:
                raise ConnectionError("this is not a WebSocket service")
            return False
        self._buffer = bytearray(rest)
        status, *headers = head.decode("latin-1").split("\r\n")
        if " 101 " not in f"{status} ":
            said = " ".join(f"{status} {rest.decode(errors='replace')}".split())
            raise ConnectionError(f"the service refused: {said}"[:400])
        fields = {name.strip().lower(): value.strip() for name, _, value in (h.partition(":") for h in headers)}
        accept = base64.b64encode(hashlib.sha1((self._key + _ACCEPT).encode()).digest()).decode()
        if fields.get("sec-websocket-accept") != accept:
            raise ConnectionError("this is not a WebSocket service")
        return True

    def next(self) -> Tuple[str, Any]:
        """("message", Pose or dict), ("ping", payload), ("end", None), or ("more", None) while bytes are missing."""
        while True:
            buffer = self._buffer
            if len(buffer) < 2:
                return "more", None
            first, second, head = buffer[0], buffer[1], 2
            opcode, length = first & 15, second & 127
            if length >= 126:
                head += 2 if length == 126 else 8
                if len(buffer) < head:
                    return "more", None
                length = int.from_bytes(buffer[2:head], "big")
            if second & 128 or first & 0x70 or length > _LARGEST or len(self._whole) + length > _LARGEST:
                raise ConnectionError("a frame that no service of this kind sends")
            if opcode >= 8 and (length > 125 or opcode > 10) or 2 < opcode < 8 or (opcode == 0 and not self._kind):
                raise ConnectionError("a frame that no service of this kind sends")
            if len(buffer) < head + length:
                return "more", None
            payload = bytes(buffer[head:head + length])
            del buffer[:head + length]
            if opcode == 8:
                return "end", None
            if opcode == 9:
                return "ping", payload
            if opcode == 10:
                continue
            self._kind = opcode or self._kind
            self._whole += payload
            if first & 0x80:
                whole, self._whole = self._whole, b""
                kind, self._kind = self._kind, 0
                return "message", self._message(kind, whole)

    @staticmethod
    def _message(kind: int, whole: bytes) -> Message:
        read: Any
        try:
            if kind == 2:
                return Pose(whole)
            read = json.loads(whole)
        except (ValueError, RecursionError) as error:
            raise ConnectionError(f"what came is no message of this protocol: {error}") from None
        message = cast(Dict[str, Any], read) if isinstance(read, dict) else {}
        if not isinstance(message.get("type"), str):
            raise ConnectionError("what came is no message of this protocol: it has no type")
        for name, kind_of in _NEEDED.get(message["type"], {}).items():
            value: Any = message.get(name)
            if not isinstance(value, kind_of) or kind_of is list and not all(isinstance(one, dict) for one in value):
                raise ConnectionError(f"what came is no message of this protocol: {message['type']} without {name}")
        return message

    @staticmethod
    def frame(opcode: int, payload: bytes) -> bytes:
        mask = os.urandom(4)
        length = len(payload)
        head = bytes([0x80 | opcode])
        if length < 126:
            head += bytes([0x80 | length])
        elif length < 65536:
            head += struct.pack("!BH", 0x80 | 126, length)
        else:
            head += struct.pack("!BQ", 0x80 | 127, length)
        key = int.from_bytes((mask * (length // 4 + 1))[:length], "big")
        return head + mask + (int.from_bytes(payload, "big") ^ key).to_bytes(length, "big")


def _how_to_arm(welcome: Optional[Message], hand: str) -> str:
    hands: List[Dict[str, Any]] = welcome["hands"] if isinstance(welcome, dict) else []
    return next((str(one.get("howToArm")) for one in hands if one.get("hand") == hand), "connect the glove")


class Client:
    """
    One connection. Iterating gives what the service sends: `Pose` objects and messages as dicts. Without `url`: to where
    the variable TAUTLINE_STREAM says (with its token in TAUTLINE_TOKEN), or to the usual place.
    """

    def __init__(self, url: Optional[str] = None, token: Optional[str] = None, timeout: float = 10.0) -> None:
        self._protocol = _Protocol(url, token)
        self._socket = socket.create_connection((self._protocol.host, self._protocol.port), timeout)
        try:
            self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            if self._protocol.secure:
                context = ssl.create_default_context()
                self._socket = context.wrap_socket(self._socket, server_hostname=self._protocol.host)
            self._queue: deque[Message] = deque()
            self._last_id = 0
            self._socket.sendall(self._protocol.opening)
            while not self._protocol.opened():
                self._protocol.feed(self._socket.recv(65536))
            self.welcome: Optional[Message] = self._next()
        except BaseException:
            self._socket.close()
            raise

    def __enter__(self) -> Client:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def __iter__(self) -> Iterator[Message]:
        while True:
            message = self._queue.popleft() if self._queue else self._next()
            if message is None:
                return
            yield message

    def ask(self, request: Request) -> Dict[str, Any]:
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

    def how_to_arm(self, hand: str) -> str:
        """How the wearer of that hand arms, in words that complete "To arm: ..."."""
        return _how_to_arm(self.welcome, hand)

    def wait_until_armed(self, hand: str) -> None:
        """Returns once the wearer has armed that hand. Poses that come meanwhile are dropped. Replaces a subscription."""
        self.ask({"type": "subscribe", "streams": ["resistance"]})
        for message in self:
            if isinstance(message, dict) and message["type"] == "resistance":
                if message["hand"] == hand and message["armed"]:
                    return
        raise ConnectionError("the service ended the connection")

    def send(self, request: Request) -> None:
        """Sends a request without waiting for the answer."""
        self._socket.sendall(self._protocol.frame(1, json.dumps(request).encode()))

    def close(self) -> None:
        """Says goodbye. The service frees at once what this client held."""
        try:
            self._socket.sendall(self._protocol.frame(8, struct.pack("!H", 1000)))
        except OSError:
            pass
        self._socket.close()

    def _next(self) -> Optional[Message]:
        """The next message; None when the service said goodbye."""
        while True:
            kind, value = self._protocol.next()
            if kind == "message":
                return value
            if kind == "end":
                return None
            if kind == "ping":
                self._socket.sendall(self._protocol.frame(10, value))
            else:
                self._protocol.feed(self._socket.recv(65536))


_TTL_MS = 250
_RENEW_S = 0.06
_TRANSIENT = ("disarmed", "tryAgain")
_FIRST_WAIT_S = 0.2
_LONGEST_WAIT_S = 5.0
_PING_S = 2.0
_SILENT_S = 6.0


class Hold:
    """Something that is felt until it is released; renewed while the event loop runs. From `AsyncClient.hold`."""

    def __init__(self, client: AsyncClient, request: Request, layer: str) -> None:
        self._client = client
        self._request = request
        #: its layer at the service, as `gestures.touches` names it
        self.layer: str = layer
        self._again = asyncio.Event()
        #: asking, held, paused (resumed by itself), refused or released
        self.state: str = "asking"
        #: why it is paused or refused
        self.error: Optional[Union[Refused, ConnectionError]] = None
        #: why the service grants less than was asked for, if it does
        self.limited: Optional[str] = None
        # Answers come in the order of the requests, however late. What was asked up to here was let go since: its answers
        # say nothing about now.
        self._asked = 0
        self._let_go = 0
        self._task = asyncio.ensure_future(self._renew())

    def move(self, **changes: Any) -> None:
        """Changes what is named: position, orientation, shape, fingers."""
        self._request = {**self._request, **changes}
        self._again.set()

    async def release(self) -> None:
        """Frees the fingers, and returns once they are."""
        if self._ended():
            await self._client.ask(self._free)

    def end(self) -> None:
        """Frees the fingers without waiting for the answer."""
        if self._ended():
            self._free_now()

    @property
    def _free(self) -> Request:
        return {"type": "release", "hand": self._request["hand"], "layer": self.layer}

    def _free_now(self) -> None:
        try:
            self._client.send(self._free)
        except ConnectionError:
            pass  # the service has freed them already

    def _ended(self) -> bool:
        """Whether there was something to end."""
        was = self.state
        self.state, self.error = "released", None
        self._task.cancel()
        return was not in ("refused", "released")

    def _pause(self, why: Union[Refused, ConnectionError]) -> None:
        # Asked counts as held: the request may be on its way.
        asked = self.state != "paused" and self._asked > self._let_go
        self.state, self.error = "paused", why
        self._let_go = self._asked
        if asked:
            self._free_now()

    def _answered(self, asked: int, answer: asyncio.Future[Dict[str, Any]]) -> None:
        why = None if answer.cancelled() else answer.exception()
        if answer.cancelled() or self.state in ("refused", "released"):
            return
        if isinstance(why, Refused) and why.code not in _TRANSIENT:
            self.state, self.error = "refused", why
            self._task.cancel()
            self._free_now()
        elif asked <= self._let_go:
            return
        elif isinstance(why, (Refused, ConnectionError)):
            self._pause(why)
        else:
            self.state, self.error, self.limited = "held", None, answer.result().get("limited")

    async def _renew(self) -> None:
        while self.state not in ("refused", "released"):
            self._again.clear()
            if self._client.state != "open":
                self._pause(ConnectionError(self._client.reason or "the service ended the connection"))
                try:
                    # Held again only once the service takes it: the wearer may have to arm first.
                    await self._client.opened()
                except ConnectionError:
                    self.state = "released"
                    return
            self._asked += 1
            # Not waited for: an answer that comes late must not make the next renewal late.
            answer = asyncio.ensure_future(self._client.ask({**self._request, "layer": self.layer, "ttlMs": _TTL_MS}))
            answer.add_done_callback(functools.partial(self._answered, self._asked))
            try:
                await asyncio.wait_for(self._again.wait(), _RENEW_S)
                await asyncio.sleep(0.008)
            except asyncio.TimeoutError:
                pass


class AsyncClient:
    """
    One app at the service, for asyncio: `async with AsyncClient(url) as client`. Iterating gives `Pose` objects and
    messages as dicts. A program that is slow gets the newest pose of each hand, and the newest thousand of other messages.

    With `reconnect`, entering waits for the service, whenever it starts, and a lost connection is made again with the
    subscription as it was. Meanwhile `state` is "waiting", each hand's last pose comes once more as not valid, `ask` and
    `send` raise ConnectionError, and holds are paused. Each new connection gives its "welcome" as a message. Without
    `reconnect`, the iteration ends with ConnectionError.
    """

    def __init__(
        self,
        url: Optional[str] = None,
        token: Optional[str] = None,
        timeout: float = 10.0,
        reconnect: bool = False,
    ) -> None:
        self._url = url
        self._token = token
        self._timeout = timeout
        self._reconnect = reconnect
        self._protocol = _Protocol(url, token)
        self._last_id = 0
        self._layers = 0
        self._answers: Dict[int, asyncio.Future[Dict[str, Any]]] = {}
        self._poses: Dict[str, Pose] = {}
        self._newest: Dict[str, Pose] = {}
        self._others: deque[Dict[str, Any]] = deque(maxlen=1000)
        self._subscription: Optional[Request] = None
        self._ended: Optional[str] = None
        self._heard = 0.0
        self._tasks: List[asyncio.Task[None]] = []
        self.welcome: Optional[Message] = None
        #: connecting, open, waiting (for the next attempt) or closed
        self.state: str = "connecting"
        #: why it is not open
        self.reason: Optional[str] = None

    async def __aenter__(self) -> AsyncClient:
        self._came = asyncio.Event()
        self._opened = asyncio.Event()
        if self._reconnect:
            await self._connect_again()
        else:
            await self._connect()
        self._tasks = [asyncio.ensure_future(self._run())]
        if self._reconnect:
            self._tasks.append(asyncio.ensure_future(self._watch()))
        return self

    async def __aexit__(self, *_: object) -> None:
        await self.close()

    def __aiter__(self) -> AsyncIterator[Message]:
        return self

    async def __anext__(self) -> Message:
        while True:
            if self._others:
                return self._others.popleft()
            if self._poses:
                return self._poses.pop(next(iter(self._poses)))
            if self._ended is not None:
                if self._ended:
                    raise ConnectionError(self._ended)
                raise StopAsyncIteration
            self._came.clear()
            await self._came.wait()

    async def ask(self, request: Request) -> Dict[str, Any]:
        """Sends a request and returns its ack. Raises Refused, or ConnectionError."""
        self._last_id += 1
        number = self._last_id
        answer: asyncio.Future[Dict[str, Any]] = asyncio.get_running_loop().create_future()
        self._answers[number] = answer
        try:
            self.send({**request, "id": number})
            message = await asyncio.wait_for(answer, self._timeout)
        except asyncio.TimeoutError:
            raise ConnectionError(f"the service did not answer {request.get('type')} in time") from None
        finally:
            self._answers.pop(number, None)
        if message["type"] == "error":
            raise Refused(message)
        return message

    def send(self, request: Request) -> None:
        """Sends a request without waiting for the answer."""
        if request.get("type") == "subscribe":
            self._subscription = {key: value for key, value in request.items() if key != "id"}
        if self._ended is not None or self.state != "open":
            raise ConnectionError(self._ended or self.reason or "the service ended the connection")
        self._writer.write(self._protocol.frame(1, json.dumps(request).encode()))

    def hold(self, request: Request) -> Hold:
        """Makes a `touch` or `resist` felt until it is released, and renews it while the event loop runs."""
        self._layers += 1
        return Hold(self, request, f"hold{self._layers}")

    def how_to_arm(self, hand: str) -> str:
        """How the wearer of that hand arms, in words that complete "To arm: ..."."""
        return _how_to_arm(self.welcome, hand)

    async def opened(self) -> None:
        """Returns as soon as there is a connection. Raises ConnectionError once there will never be one again."""
        while self.state != "open":
            if self._ended is not None:
                raise ConnectionError(self._ended or "the client was closed")
            await self._opened.wait()

    async def close(self) -> None:
        """Says goodbye. The service frees at once what this client held."""
        if self.state == "open":
            self._writer.write(self._protocol.frame(8, struct.pack("!H", 1000)))
        self._end("")
        for task in self._tasks:
            task.cancel()
        self._writer.close()
        try:
            await self._writer.wait_closed()
        except OSError:
            pass

    async def _connect(self) -> None:
        self.state = "connecting"
        protocol = self._protocol = _Protocol(self._url, self._token)
        secure = ssl.create_default_context() if protocol.secure else None
        opening = asyncio.open_connection(protocol.host, protocol.port, ssl=secure)
        self._reader, self._writer = await asyncio.wait_for(opening, self._timeout)
        try:
            self._writer.write(protocol.opening)
            self.welcome = await asyncio.wait_for(self._shake_hands(), self._timeout)
        except BaseException:
            self._writer.close()
            raise
        self._heard = time.monotonic()
        self.state, self.reason = "open", None
        self._opened.set()

    async def _connect_again(self) -> None:
        """As long as it takes. Doubling waits, cut at random by up to a half so that apps do not all come back at once."""
        wait = _FIRST_WAIT_S
        while True:
            try:
                return await self._connect()
            except (OSError, asyncio.TimeoutError) as error:
                reason = str(error) or "no answer came in time"
                if reason != self.reason:
                    # A service that is not there yet is nothing to worry about; one that refuses is.
                    _log.log(logging.INFO if getattr(error, "errno", None) else logging.WARNING, "waiting: %s", reason)
                self.state, self.reason = "waiting", reason
            await asyncio.sleep(wait * random.uniform(0.5, 1))
            wait = min(2 * wait, _LONGEST_WAIT_S)

    async def _shake_hands(self) -> Message:
        while not self._protocol.opened():
            self._protocol.feed(await self._reader.read(65536))
        while True:
            kind, value = self._protocol.next()
            if kind == "end":
                raise ConnectionError("the service ended the connection")
            if kind == "message":
                return value
            if kind == "more":
                self._protocol.feed(await self._reader.read(65536))

    async def _run(self) -> None:
        while True:
            try:
                await self._read()
                why = ""
            except (ConnectionError, OSError) as error:
                why = str(error) or "the connection ended"
            if not self._reconnect:
                return self._end(why)
            self._lose(why or "the service ended the connection")
            await asyncio.sleep(_FIRST_WAIT_S * random.uniform(0.5, 1))
            await self._connect_again()
            if isinstance(self.welcome, dict):
                self._others.append(self.welcome)
            if self._subscription:
                self.send({**self._subscription})
            self._came.set()

    async def _read(self) -> None:
        while True:
            kind, value = self._protocol.next()
            if kind == "message":
                self._take(value)
            elif kind == "ping":
                self._writer.write(self._protocol.frame(10, value))
            elif kind == "end":
                return
            else:
                self._protocol.feed(await self._reader.read(65536))
                self._heard = time.monotonic()

    async def _watch(self) -> None:
        """A connection that is silent, though it was pinged, is none, however open it looks."""
        while True:
            await asyncio.sleep(_PING_S)
            if self.state != "open":
                continue
            if time.monotonic() - self._heard > _SILENT_S:
                self._writer.transport.abort()
            else:
                self._writer.write(self._protocol.frame(9, b""))

    def _take(self, message: Message) -> None:
        if isinstance(message, Pose):
            self._poses[message.hand] = self._newest[message.hand] = message
        else:
            number = message.get("id")
            answer = self._answers.get(number) if isinstance(number, int) else None
            if answer is not None and message["type"] in ("ack", "error"):
                if not answer.done():
                    answer.set_result(message)
                return
            if message["type"] == "welcome":
                self.welcome = message
            self._others.append(message)
        self._came.set()

    def _lose(self, why: str) -> None:
        self.state, self.reason = "waiting", why
        self._opened.clear()
        self._writer.close()
        for hand, pose in self._newest.items():
            self._poses[hand] = pose.lost(why)
        self._newest.clear()
        self._answer_nobody(why)
        self._came.set()

    def _end(self, why: str) -> None:
        if self._ended is None:
            self._ended = why
        self.state, self.reason = "closed", self._ended or None
        self._answer_nobody(why or "the service ended the connection")
        self._opened.set()
        self._came.set()

    def _answer_nobody(self, why: str) -> None:
        for answer in self._answers.values():
            if not answer.done():
                answer.set_exception(ConnectionError(why))


def main() -> None:
    parser = argparse.ArgumentParser(description="Prints the index finger tip of each pose.")
    parser.add_argument("--url")
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


def command() -> None:
    """`main` as a command: what goes wrong is one line."""
    try:
        main()
    except KeyboardInterrupt:
        pass
    except (OSError, Refused) as error:
        sys.exit(f"tautline_client: {error}")


if __name__ == "__main__":
    command()
