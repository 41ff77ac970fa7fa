"""Answers each line of its input with a line of JSON; tests/end-to-end/client-vectors.test.ts asks and judges."""

import json
import sys

from tautline_client import JOINT_NAMES, Pose, Refused
from tautline_grab import GrabCore

SHOWN = (0, 10, 25)


def rows(values, stride):
    return [list(map(float, values[at * stride:(at + 1) * stride])) for at in SHOWN]


def record(text):
    try:
        pose = Pose(bytes.fromhex(text))
    except ValueError:
        return None
    return {
        "hand": pose.hand, "seq": pose.seq, "timeUs": pose.time_us, "poseTimeUs": pose.pose_time_us,
        "space": pose.space, "valid": pose.valid, "recorded": pose.recorded, "reason": pose.reason, "fingers": pose.fingers,
        "joints": rows(pose.poses, 8),
        "velocities": None if pose.velocities is None else rows(pose.velocities, 6),
        "pressures": None if pose.pressures is None else list(map(float, pose.pressures)),
    }


def error(text):
    refused = Refused(json.loads(text))
    return {"code": refused.code, "message": str(refused), "path": refused.path}


core = None


def grab(text):
    global core
    what, *words = text.split()
    numbers = [float(word) for word in words]
    if what == "reach":
        core = GrabCore(numbers[0])
        return None
    now, valid, seq, carried, fingers, drop, moves = numbers[:7]
    poses = [*numbers[14:21], 0.01] * 26
    tip = 8 * JOINT_NAMES.index("index-finger-tip")
    poses[tip:tip + 3] = numbers[21:24]
    if drop:
        core.drop()
    velocities = numbers[24:] if moves else None
    event = core.update(now, bool(valid), int(seq), poses, velocities, bool(carried), int(fingers), numbers[7:14])
    return {
        "state": core.state, "event": event, "object": core.object,
        "inPalm": core.in_palm if core.state == "held" else None,
        "velocity": core.velocity, "angularVelocity": core.angular_velocity,
    }


ANSWERS = {"record": record, "error": error, "grab": grab}
for line in sys.stdin:
    kind, _, text = line.rstrip("\n").partition(" ")
    print(json.dumps(ANSWERS[kind](text)))
