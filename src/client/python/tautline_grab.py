"""When a thing is grabbed, held and let go, and where it is meanwhile. The same as in the clients of other languages.

    from tautline_client import AsyncClient, Pose
    from tautline_grab import Grab
    async with AsyncClient(reconnect=True) as client:
        await client.ask({"type": "subscribe", "streams": ["joints", "gestures", "resistance"], "velocities": True})
        grab = Grab(client, "right", {"kind": "sphere", "radius": 0.035})
        ball = [0, -0.05, -0.08, 0, 0, 0, 1]            # where it is, in the space of the hand's poses
        async for message in client:
            grab.take(message)
            if isinstance(message, Pose):
                if grab.update(ball, message) == "letGo":   # writes to `ball` while it is held
                    fly(grab.velocity)

It is felt as soon as the hand comes near and the wearer has armed the glove, and it can be taken while the glove is
disarmed, too, without force. It is let go when the fingers open, and when the hand or the connection is lost.
"""

from __future__ import annotations

import math
import time
from typing import Any, Dict, List, MutableSequence, Optional, Sequence, cast

from tautline_client import AsyncClient, Hold, Message, Pose

#: The thing is touched from when a joint is this near to its bounding sphere, m,
NEAR_M = 0.1
#: and until every joint is this far from it, m.
AWAY_M = 0.15
#: How long a thing stays held that is not carried, while two fingers or more are still at it, ms.
SLIPS_AFTER_MS = 100
#: A hand that gives no new pose for so long is lost, ms.
LOST_AFTER_MS = 250
#: Changed by less than this, a thing is as it was: m, parts of a turn, m/s, rad/s.
_STILL = 1e-5


class GrabCore:
    """The rule itself: no connection, no clock. `Grab` puts it to use."""

    def __init__(self, reach: float) -> None:
        #: radius of a sphere around the thing's origin that encloses it, m
        self.reach: float = reach
        #: away: out of reach. near: it is to be touched. held: it follows the palm
        self.state: str = "away"
        #: where the thing is: as it was given, or with the hand; x, y, z, qx, qy, qz, qw
        self.object: List[float] = [0, 0, 0, 0, 0, 0, 1]
        #: while held: where it is in the palm's frame
        self.in_palm: List[float] = [0, 0, 0, 0, 0, 0, 1]
        #: what it had when it was last let go, m/s and rad/s; zeros where the hand was lost
        self.velocity: List[float] = [0, 0, 0]
        self.angular_velocity: List[float] = [0, 0, 0]
        self._seq = -1
        self._seen_ms = -math.inf
        self._slips_ms: Optional[float] = None
        self._must_open = False

    def update(
        self,
        now_ms: float,
        valid: bool,
        seq: int,
        poses: Sequence[float],
        velocities: Optional[Sequence[float]],
        carried: bool,
        fingers: int,
        thing: Sequence[float],
    ) -> Optional[str]:
        """
        One frame. `now_ms` is on any clock that does not go back; `poses` and `velocities` are those of `Pose`; `carried`
        and `fingers` what `gestures.touches` says of the thing. Returns what has happened: "grabbed", "letGo" or None.
        """
        if seq != self._seq:
            self._seq, self._seen_ms = seq, now_ms
        if not valid or now_ms - self._seen_ms > LOST_AFTER_MS:
            return self._lose(thing)
        palm = poses[:7]
        if not carried:
            self._must_open = False
        if self.state == "held":
            return self._follow(now_ms, palm, velocities, carried, fingers)
        self.object[:] = map(float, thing)
        least = min(math.dist(poses[at:at + 3], thing[:3]) for at in range(0, len(poses), 8)) - self.reach
        self.state = "near" if least < (AWAY_M if self.state == "near" else NEAR_M) else "away"
        if self.state == "away" or not carried or self._must_open:
            return None
        self.in_palm[:] = _into(palm, self.object)
        self.state, self._slips_ms = "held", None
        return "grabbed"

    def drop(self) -> None:
        """Lets go for the app's own reasons: the hand has to open before it grabs again."""
        if self.state == "held":
            self.state = "near"
        self._must_open = True
        self.velocity[:] = self.angular_velocity[:] = [0, 0, 0]

    def _lose(self, thing: Sequence[float]) -> Optional[str]:
        held = self.state == "held"
        if not held:  # what is dropped stays where it was last
            self.object[:] = map(float, thing)
        self.state = "away"
        self.velocity[:] = self.angular_velocity[:] = [0, 0, 0]
        return "letGo" if held else None

    def _follow(
        self, now_ms: float, palm: Sequence[float], velocities: Optional[Sequence[float]], carried: bool, fingers: int
    ) -> Optional[str]:
        self.object[:] = _compose(palm, self.in_palm)
        if carried:
            self._slips_ms = None
            return None
        if self._slips_ms is None:
            self._slips_ms = now_ms
        # One finger holds nothing. Two that have just lost their opposition may find it again.
        if fingers >= 2 and now_ms - self._slips_ms < SLIPS_AFTER_MS:
            return None
        self.state = "near"
        v, w = (velocities[:3], velocities[3:6]) if velocities is not None else ((0, 0, 0), (0, 0, 0))
        r = [self.object[i] - palm[i] for i in range(3)]
        # As a part of the palm.
        turning = _cross(w, r)
        self.velocity[:] = [v[i] + turning[i] for i in range(3)]
        self.angular_velocity[:] = w
        return "letGo"


class Grab:
    """One thing that one hand can take, for `AsyncClient`. Needs the streams joints, gestures and resistance."""

    def __init__(
        self,
        client: AsyncClient,
        hand: str,
        shape: Dict[str, Any],
        effort: float = 1.0,
        **feel: Any,
    ) -> None:
        """`feel`: stiffness, friction, texture, as in `touch`."""
        self._client = client
        self._core = GrabCore(reach_of(shape))
        self._request = {"type": "touch", "hand": hand, "shape": shape, **feel}
        self._hand = hand
        self._wanted = effort
        self._armed = _armed(client, hand)
        self._carried = False
        self._fingers = 0
        self._hold: Optional[Hold] = None
        self._sent: Optional[Dict[str, Any]] = None
        self._moves: Optional[Dict[str, List[float]]] = None

    @property
    def state(self) -> str:
        """away: out of reach. near: it is touched. held: it follows the hand."""
        return self._core.state

    @property
    def velocity(self) -> List[float]:
        """m/s that it had when it was last let go; zeros when the hand was lost."""
        return self._core.velocity

    @property
    def angular_velocity(self) -> List[float]:
        """rad/s likewise."""
        return self._core.angular_velocity

    @property
    def hold(self) -> Optional[Hold]:
        """What is sent: says whether it is felt, and why not. None while the thing is out of reach."""
        return self._hold

    def take(self, message: Message) -> None:
        """Every message that is no pose."""
        if not isinstance(message, dict):
            return
        if message["type"] == "welcome":
            self._armed = _armed(self._client, self._hand)
        elif message.get("hand") != self._hand:
            return
        elif message["type"] == "resistance":
            self._armed = message["armed"]
        elif message["type"] == "gestures":
            mine = self._hold.layer if self._hold else None
            by = _welcome(self._client).get("app")
            touches: List[Dict[str, Any]] = message["touches"]
            touch = next((t for t in touches if t.get("layer") == mine and t.get("by") == by), None) or {}
            self._carried = touch.get("carried") is True
            fingers: Any = touch.get("fingers")
            self._fingers = len(cast(List[Any], fingers)) if isinstance(fingers, list) else 0

    def update(self, thing: MutableSequence[float], pose: Optional[Pose], now_ms: Optional[float] = None) -> Optional[str]:
        """
        To be called once a frame with the newest pose of the hand. `thing`: where it is, x, y, z, qx, qy, qz, qw in the
        space of the hand's poses; it is written to while it is held. Returns "grabbed", "letGo" or None.
        """
        core, before = self._core, self._core.state
        now = time.monotonic() * 1000 if now_ms is None else now_ms
        if pose is None:
            event = core.update(now, False, -1, (), None, False, 0, thing)
        else:
            event = core.update(
                now, pose.valid, pose.seq, pose.poses, pose.velocities, self._carried, self._fingers, thing
            )
        if before == "held":
            thing[:] = core.object
        self._touch("wrist" if pose is None else pose.space)
        return event

    def set_velocity(self, linear: Sequence[float], angular: Sequence[float] = (0, 0, 0)) -> None:
        """
        How the thing moves while it is not held, m/s and rad/s in the space of its pose: felt where it is rather than where
        it was said to be last. For things that fly; to be called whenever that changes.
        """
        self._moves = {"linearVelocity": [float(x) for x in linear], "angularVelocity": [float(x) for x in angular]}

    def drop(self) -> None:
        """Lets go for the app's own reasons; the hand has to open before it takes the thing again."""
        self._core.drop()

    def end(self) -> None:
        """The thing is gone."""
        self._core.drop()
        self._release()

    def _release(self) -> None:
        if self._hold:
            self._hold.end()
        self._hold = None
        self._carried, self._fingers = False, 0

    def _touch(self, space: str) -> None:
        core = self._core
        if core.state == "away":
            return self._release()
        at = core.in_palm if core.state == "held" else core.object
        # Without force it is taken also while the glove is disarmed, for the contacts that it gives.
        changes = {
            "space": "palm" if core.state == "held" else space,
            "effort": self._wanted if self._armed else 0,
            "position": list(at[:3]),
            "orientation": list(at[3:]),
        }
        if self._moves is not None:
            if core.state == "held":  # in the hand it rests
                self._moves = {name: [0.0, 0.0, 0.0] for name in self._moves}
            changes.update(self._moves)
        if self._hold is None:
            self._hold = self._client.hold({**self._request, **changes})
        elif not _same(self._sent, changes):
            self._hold.move(**changes)
        else:
            return
        self._sent = changes


def reach_of(shape: Dict[str, Any]) -> float:
    """Radius of a sphere around the origin of a shape that encloses it, m; infinite for a half-space."""
    kind = shape["kind"]
    if kind == "sphere":
        return shape["radius"]
    if kind == "box":
        return math.hypot(*shape["size"]) / 2
    if kind == "capsule":
        return shape["radius"] + shape["length"] / 2
    if kind == "cylinder":
        return math.hypot(shape["radius"], shape["length"] / 2)
    if kind == "hull":
        return max(math.hypot(*point) for point in shape["points"])
    if kind == "compound":
        return max(math.hypot(*part.get("position", (0, 0, 0))) + reach_of(part["shape"]) for part in shape["parts"])
    return math.inf


def _welcome(client: AsyncClient) -> Dict[str, Any]:
    return client.welcome if isinstance(client.welcome, dict) else {}


def _armed(client: AsyncClient, hand: str) -> bool:
    return any(one.get("hand") == hand and one.get("armed") is True for one in _welcome(client).get("hands", []))


def _same(a: Optional[Dict[str, Any]], b: Dict[str, Any]) -> bool:
    if a is None or a.keys() != b.keys() or a["space"] != b["space"] or a["effort"] != b["effort"]:
        return False
    return all(abs(x - y) <= _STILL for key in b.keys() - {"space", "effort"} for x, y in zip(a[key], b[key]))


def _cross(a: Sequence[float], b: Sequence[float]) -> List[float]:
    return [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]


def _rotate(q: Sequence[float], v: Sequence[float]) -> List[float]:
    t = [2 * x for x in _cross(q, v)]
    u = _cross(q, t)
    return [v[i] + q[3] * t[i] + u[i] for i in range(3)]


def _turn(a: Sequence[float], b: Sequence[float]) -> List[float]:
    """First b, then a."""
    c = _cross(a, b)
    return [a[3] * b[i] + b[3] * a[i] + c[i] for i in range(3)] + [a[3] * b[3] - sum(a[i] * b[i] for i in range(3))]


def _compose(a: Sequence[float], b: Sequence[float]) -> List[float]:
    at = _rotate(a[3:7], b[:3])
    return [a[i] + at[i] for i in range(3)] + _turn(a[3:7], b[3:7])


def _into(frame: Sequence[float], pose: Sequence[float]) -> List[float]:
    """frame^-1 . pose"""
    length = math.hypot(*frame[3:7]) or 1.0
    back = [-frame[3] / length, -frame[4] / length, -frame[5] / length, frame[6] / length]
    at = _rotate(back, [pose[i] - frame[i] for i in range(3)])
    return at + _turn(back, pose[3:7])
