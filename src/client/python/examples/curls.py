"""Plots how far each finger bends over a session, and when it is stopped. Run it whole, or cell by cell in an editor that
knows `# %%` cells. Needs no plotting package; uses NumPy if it is there.

    tautline export config/sessions/grasp.mcap --to ndjson --output grasp.ndjson
    python3 curls.py grasp.ndjson curls.svg

Or live, from the service, for some seconds:

    python3 curls.py ws://127.0.0.1:7117/stream curls.svg 5
"""

# %% What to plot
import json
import math
import sys
from pathlib import Path

sys.path.append(str(Path(__file__).resolve().parent.parent))  # where nobody has installed the client
from tautline_client import FINGERS, JOINT_NAMES, Client, Pose  # noqa: E402

SOURCE = sys.argv[1] if len(sys.argv) > 1 else "ws://127.0.0.1:7117/stream"
PICTURE = sys.argv[2] if len(sys.argv) > 2 else "curls.svg"
SECONDS = float(sys.argv[3]) if len(sys.argv) > 3 else 5.0


# %% Read it: of the first hand, a time and 26 rows for each pose, the stops, and what was marked
def of_file(path):
    with open(path, encoding="utf8") as file:
        for line in file:
            message = json.loads(line)
            yield message["atS"], message


def of_service(url):
    began = None
    with Client(url) as client:
        client.ask({"type": "subscribe", "app": "curls", "streams": ["joints", "resistance"]})
        for message in client:
            if isinstance(message, Pose):
                began = message.time_us if began is None else began
                now = (message.time_us - began) / 1e6
                if now > SECONDS:
                    return
                rows = [message.poses[at:at + 8] for at in range(0, len(message.poses), 8)]
                yield now, {"type": "joints", "hand": message.hand, "valid": message.valid, "poses": rows}
            elif began is not None and message["type"] == "resistance":
                yield (message["timeUs"] - began) / 1e6, message


hand, times, poses, stops, marks = None, [], [], [], []
for at, message in of_service(SOURCE) if "://" in SOURCE else of_file(SOURCE):
    if message["type"] == "mark":
        marks.append((at, message["text"]))
    if "hand" not in message or message["hand"] != (hand or message["hand"]):
        continue
    hand = message["hand"]
    if message["type"] == "joints" and message["valid"]:
        times.append(at)
        poses.append(message["poses"])
    elif message["type"] == "resistance":
        stops.append((at, [message["fingers"].get(finger, {}).get("effort", 0) for finger in FINGERS]))
if not times:
    sys.exit(f"curls: there is no valid pose in {SOURCE}")

# %% Bend: the turns from each bone of a finger to the next, added up, in degrees
WORDS = {"little": "pinky"}  # WebXR's word, in the names of joints
BONES = [
    [i for i, name in enumerate(JOINT_NAMES) if name.startswith(WORDS.get(f, f)) and not name.endswith("tip")]
    for f in FINGERS
]


def bends_plainly():
    def turn(a, b):
        dot = abs(sum(x * y for x, y in zip(a[3:7], b[3:7])))
        return math.degrees(2 * math.acos(min(1.0, dot)))

    return [[sum(turn(pose[a], pose[b]) for a, b in zip(bones, bones[1:])) for pose in poses] for bones in BONES]


def bends_by_numpy(numpy):
    turns = numpy.asarray(poses, float)[:, :, 3:7]
    found = []
    for bones in BONES:
        dots = numpy.abs((turns[:, bones[:-1]] * turns[:, bones[1:]]).sum(axis=2))
        found.append(numpy.degrees(2 * numpy.arccos(numpy.minimum(dots, 1))).sum(axis=1).tolist())
    return found


try:
    import numpy
    bends = bends_by_numpy(numpy)
except ImportError:
    bends = bends_plainly()

# %% In the terminal
BARS = " .:-=+*#%@"
print(f"{hand} hand, {len(times)} poses in {times[-1] - times[0]:.1f} s; bend in degrees")
for finger, bend in zip(FINGERS, bends):
    columns = [bend[len(bend) * i // 60] for i in range(60)]
    line = "".join(BARS[min(len(BARS) - 1, int(x / 270 * len(BARS)))] for x in columns)
    print(f"{finger:>7} |{line}| {min(bend):3.0f} to {max(bend):3.0f}")

# %% As a picture: a row for each finger, shaded while it has a stop
WIDTH, ROW, LEFT, TOP, TALLEST = 900, 90, 70, 40, 300.0
span = max(times[-1] - times[0], 1e-9)


def x_of(t):
    return LEFT + (WIDTH - LEFT - 20) * (min(max(t, times[0]), times[-1]) - times[0]) / span


parts = []
for i, (finger, bend) in enumerate(zip(FINGERS, bends)):
    foot = TOP + ROW * (i + 1) - 12
    for (t, efforts), (until, _) in zip(stops, stops[1:] + [(times[-1], None)]):
        if efforts[i] > 0:
            left, right = x_of(t), x_of(until)
            parts.append(f'<rect x="{left:.1f}" y="{foot - 70}" width="{right - left:.1f}" height="70" fill="#f4d6c6"/>')
    points = " ".join(f"{x_of(t):.1f},{foot - 70 * value / TALLEST:.1f}" for t, value in zip(times, bend))
    parts.append(f'<path d="M{LEFT} {foot - 70}V{foot}H{WIDTH - 20}" fill="none" stroke="#999"/>')
    parts.append(f'<polyline points="{points}" fill="none" stroke="#1f5c99" stroke-width="1.5"/>')
    parts.append(f'<text x="{LEFT - 8}" y="{foot - 30}" text-anchor="end">{finger}</text>')
    parts.append(f'<text x="{LEFT - 8}" y="{foot - 62}" text-anchor="end" font-size="10">{TALLEST:.0f}°</text>')
for t, text in marks:
    escaped = text.replace("&", "&amp;").replace("<", "&lt;")
    parts.append(f'<path d="M{x_of(t):.1f} {TOP - 6}V{TOP + ROW * 5}" stroke="#b33" stroke-dasharray="3 3"/>')
    parts.append(f'<text x="{x_of(t) + 4:.1f}" y="{TOP - 8}" font-size="10" fill="#b33">{escaped}</text>')
height = TOP + ROW * 5 + 30
for i in range(6):
    t = times[0] + span * i / 5
    parts.append(f'<text x="{x_of(t):.1f}" y="{height - 12}" text-anchor="middle" font-size="11">{t:.1f} s</text>')
head = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" font-family="sans-serif" font-size="13">'
title = f"<title>Bend of the fingers of the {hand} hand, degrees; shaded: it has a stop</title>"
Path(PICTURE).write_text(f'{head}{title}<rect width="100%" height="100%" fill="#fff"/>{"".join(parts)}</svg>\n', encoding="utf8")
print(f"{PICTURE}: {WIDTH} x {height}")
