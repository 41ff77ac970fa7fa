"""An app with a ball that the hand can take, for tests/end-to-end/clients-grab.test.ts: prints what happens to it.

Arguments: URL [moving]. See tests/client/javascript/grab.mjs.
"""

import asyncio
import sys

from tautline_client import AsyncClient, Pose
from tautline_grab import Grab


def along(p, q, v):
    """p + q . v"""
    t = [2 * (q[1] * v[2] - q[2] * v[1]), 2 * (q[2] * v[0] - q[0] * v[2]), 2 * (q[0] * v[1] - q[1] * v[0])]
    u = [q[1] * t[2] - q[2] * t[1], q[2] * t[0] - q[0] * t[2], q[0] * t[1] - q[1] * t[0]]
    return [p[i] + v[i] + q[3] * t[i] + u[i] for i in range(3)]


def say(*words):
    print(*words, flush=True)


async def main():
    async with AsyncClient(sys.argv[1]) as client:
        await client.ask({
            "type": "subscribe", "app": "grab", "streams": ["joints", "gestures", "resistance"], "velocities": True,
        })
        grab = Grab(client, "right", {"kind": "sphere", "radius": 0.035})
        if len(sys.argv) > 2:
            grab.set_velocity([0.25, 0, -1], [0, 3, 0.5])
        ball = [0, 0, 0, 0, 0, 0, 1]
        placed, state = False, ""

        def frame(pose):
            nonlocal state
            event = grab.update(ball, pose)
            if event:
                say(event, *(f"{x:.4f}" for x in (grab.velocity if event == "letGo" else ball)))
            if grab.state != state:
                state = grab.state
                say(state)

        try:
            async for message in client:
                grab.take(message)
                if not isinstance(message, Pose):
                    continue
                if not placed and message.valid:
                    placed = True
                    ball[:3] = along(message.position("palm"), message.orientation("palm"), [0, -0.055, -0.03])
                frame(message)
        except ConnectionError:
            pass
        frame(None)
        grab.end()


async def until_told():
    running = asyncio.ensure_future(main())
    told = asyncio.get_running_loop().run_in_executor(None, sys.stdin.read)
    await told
    running.cancel()
    await asyncio.wait([running])

asyncio.run(until_told())
