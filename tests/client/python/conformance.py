"""Answers each line of its input with a line of JSON; tests/end-to-end/client-vectors.test.ts asks and judges."""

import json
import sys

from tautline_client import Pose, Refused

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


for line in sys.stdin:
    kind, _, text = line.rstrip("\n").partition(" ")
    print(json.dumps(record(text) if kind == "record" else error(text)))
