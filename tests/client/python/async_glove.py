"""Drives the asyncio client for tests/end-to-end/clients-python.test.ts: prints what it sees, line by line."""

import asyncio
import json
import sys

from tautline_client import AsyncClient, Pose, Refused


def say(*words):
    print(*words, flush=True)


async def poses(client):
    """A program that sleeps gets the newest pose, and no queue of them."""
    await client.ask({"type": "subscribe", "streams": ["joints", "inputs"], "velocities": True})
    first = second = None
    async for message in client:
        if isinstance(message, Pose):
            first = message
            break
    await asyncio.sleep(1)
    count = 0
    async for message in client:
        if isinstance(message, Pose):
            count += 1
            second = message
            break
    say(count, second.seq - first.seq, second.time_us - first.time_us, json.dumps(second.position("index-finger-tip")))


async def refused(client):
    try:
        await client.ask({"type": "pulse", "hand": "right", "amplitude": 7, "durationMs": 5})
    except Refused as error:
        say(error.code, error.path)
    answers = await asyncio.gather(*(client.ask({"type": "ping", "timeUs": i}) for i in range(50)))
    say([answer["echoUs"] for answer in answers] == list(range(50)))


async def hold(client):
    say("To arm:", client.how_to_arm("right"))
    held = client.hold({"type": "resist", "hand": "right", "fingers": {"index": {"stopAt": 0.3, "effort": 1}}})
    state = ""
    loop = asyncio.get_running_loop()
    line = loop.run_in_executor(None, sys.stdin.readline)
    while True:
        now = held.state + (f" {held.error.code}" if held.error else "")
        if now != state:
            state = now
            say(state)
        if line.done():
            word = line.result().strip()
            if word == "release":
                await held.release()
            elif word == "move":
                held.move(fingers={"middle": {"stopAt": 0.3, "effort": 1}})
            elif word == "wrong":
                held.move(fingers={"middle": {"stopAt": 3, "effort": 1}})
            elif word == "hang":
                import time
                time.sleep(1)
            else:
                return
            line = loop.run_in_executor(None, sys.stdin.readline)
        await asyncio.sleep(0.005)


async def ended(client):
    """Iterates until the service goes away."""
    say("open")
    try:
        async for _ in client:
            pass
        say("goodbye")
    except ConnectionError as error:
        say("lost:", error)
    try:
        await client.ask({"type": "ping"})
    except ConnectionError as error:
        say("then:", error)


async def keep(client):
    """Outlives whatever happens to the connection: obeys `stop`, prints what changes."""
    await asyncio.wait([asyncio.ensure_future(quietly(client.ask({"type": "subscribe", "streams": ["joints"]})))])
    line = asyncio.get_running_loop().run_in_executor(None, sys.stdin.readline)
    said, held, held_said, valid = "", None, "", None
    messages = client.__aiter__()
    coming = asyncio.ensure_future(messages.__anext__())
    while True:
        await asyncio.wait([coming], timeout=0.005)
        if coming.done():
            message = coming.result()
            if isinstance(message, Pose) and message.valid != valid:
                valid = message.valid
                say("pose", "valid" if valid else f"lost {message.reason}")
            coming = asyncio.ensure_future(messages.__anext__())
        now = client.state + (f" {client.reason}" if client.reason else "")
        if now != said:
            said = now
            say(said)
        now = "" if held is None else f"hold {held.state}" + (f" {type(held.error).__name__}" if held.error else "")
        if now != held_said:
            held_said = now
            say(now)
        if line.done():
            word = line.result().strip()
            if word.startswith("stop"):
                stop = {"index": {"stopAt": float(word.split()[1]), "effort": 1}}
                held = client.hold({"type": "resist", "hand": "right", "fingers": stop})
            else:
                coming.cancel()
                return
            line = asyncio.get_running_loop().run_in_executor(None, sys.stdin.readline)


async def quietly(asked):
    try:
        await asked
    except (Refused, ConnectionError):
        pass


async def main():
    async with AsyncClient(sys.argv[2], reconnect=sys.argv[1] == "keep") as client:
        await globals()[sys.argv[1]](client)


try:
    asyncio.run(main())
except OSError as error:
    sys.exit(f"{error}")
