"""As holder.cpp in tests/client/cpp, with the Python client for asyncio."""

import asyncio
import json
import sys

from tautline_client import AsyncClient, Refused


def stop(curl):
    return {"index": {"stopAt": float(curl), "effort": 1}}


def seen(hold):
    why = hold.error
    refused = isinstance(why, Refused)
    return json.dumps({
        "state": hold.state,
        # In Python it is an exception of its own kind.
        "code": why.code if refused else "notConnected" if isinstance(why, ConnectionError) else None,
        "path": why.path if refused else None,
        "message": str(why) if why else None,
        "limited": hold.limited,
    }, ensure_ascii=False)


async def main():
    lines = asyncio.Queue()
    loop = asyncio.get_running_loop()

    def read():
        for line in sys.stdin:
            loop.call_soon_threadsafe(lines.put_nowait, line)

    loop.run_in_executor(None, read)
    holds, said = {}, {}
    async with AsyncClient(sys.argv[1], reconnect=True) as client:
        while True:
            for name, hold in holds.items():
                now = f"{name} {seen(hold)}"
                if said.get(name) != now:
                    said[name] = now
                    print(now, flush=True)
            if lines.empty():
                await asyncio.sleep(0.002)
                continue
            word, *words = lines.get_nowait().split()
            if word == "stop" and words[0] in holds:
                holds[words[0]].move(fingers=stop(words[1]))
            elif word == "stop":
                holds[words[0]] = client.hold({"type": "resist", "hand": "right", "fingers": stop(words[1])})
            elif word == "touch":
                shape = {"kind": "sphere", "radius": 0.03}
                holds[words[0]] = client.hold({"type": "touch", "hand": "right", "shape": shape, "effort": 0})
            elif word == "free":
                holds[words[0]].end()
            else:
                break


asyncio.run(main())
