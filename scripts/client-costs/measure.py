"""As measure.mjs, with the Python client for asyncio. What it allocates is not counted."""

import asyncio
import json
import sys
import time

from tautline_client import AsyncClient, Pose
from tautline_grab import Grab


async def main():
    valid, frames, begun = False, 0, None
    loop = asyncio.get_running_loop()
    line = loop.run_in_executor(None, sys.stdin.readline)
    async with AsyncClient(sys.argv[1], reconnect=True) as client:
        await client.ask({
            "type": "subscribe", "app": "measured", "rateHz": int(sys.argv[2]), "velocities": True,
            "streams": ["joints", "gestures", "resistance"],
        })
        grab = Grab(client, "right", {"kind": "sphere", "radius": 0.035})
        ball, total = [0, -0.056, -0.086, 0, 0, 0, 1], 0.0
        async for message in client:
            grab.take(message)
            if not isinstance(message, Pose):
                continue
            frames += 1
            grab.update(ball, message)
            total += message.position("index-finger-tip")[0]
            if message.valid != valid:
                valid = message.valid
                print("valid" if valid else "lost", flush=True)
            if not line.done():
                continue
            told = line.result().strip()
            if told == "end":
                return
            if told == "begin":
                begun = (time.process_time(), time.monotonic(), frames)
            else:
                cpu, wall, before = begun
                count = frames - before
                print(json.dumps({
                    "cpuS": time.process_time() - cpu, "wallS": time.monotonic() - wall, "frames": count, "poses": count,
                    "allocatedBytes": None,
                }), flush=True)
            line = loop.run_in_executor(None, sys.stdin.readline)

asyncio.run(main())
