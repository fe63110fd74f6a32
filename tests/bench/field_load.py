"""The telephones of the field benchmark: one cheap process that asks as their own code does.

    python -m tests.bench.field_load FILE PORT

FILE holds a list of {device, token, pieces, photo: {key, path}}. Every telephone has a connection of its own, asks one
thing at a time, waits as it is told when the server is busy, and gives up nothing. Prints one line of JSON: what each
answer took, how often it was told to wait, what failed, and the processor time that this process took itself.
"""

import asyncio
import json
import random
import resource
import sys
import time
from pathlib import Path

BATCH = 20  # pieces, as in send.js
PART, MOST_PART, PART_S = 16_384, 131_072, 6.0  # a photo's parts are as large as goes in so many seconds, as in send.js
FIRST_WAIT_S, LONGEST_WAIT_S = 1.0, 60.0


class Line:
    """A connection that is kept open, and made anew when the server closes it."""

    def __init__(self, port, token, told):
        self.port, self.token, self.told, self.reader, self.writer = port, token, told, None, None

    async def _once(self, method, path, body, kind):
        if self.writer is None:
            self.reader, self.writer = await asyncio.open_connection("127.0.0.1", self.port)
        self.writer.write(
            f"{method} /api/v1/field/{path} HTTP/1.1\r\nHost: 127.0.0.1\r\nAuthorization: Telephone {self.token}\r\n"
            f"Content-Type: {kind}\r\nContent-Length: {len(body)}\r\n\r\n".encode() + body
        )
        head = (await self.reader.readuntil(b"\r\n\r\n")).decode()
        headers = dict(line.lower().split(": ", 1) for line in head.split("\r\n")[1:] if ": " in line)
        found = await self.reader.readexactly(int(headers.get("content-length", 0)))
        if headers.get("connection") == "close":
            self.drop()
        return int(head.split(" ", 2)[1]), headers, found

    def drop(self):
        if self.writer is not None:
            self.writer.close()
        self.reader = self.writer = None

    async def ask(self, method, path, body=b"", kind="application/json"):
        """The answer, as often as it takes. Waits grow, and are strewn so that not all come back at once."""
        wait = FIRST_WAIT_S
        while True:
            began = time.perf_counter()
            try:
                reused = self.writer is not None
                try:
                    status, headers, found = await self._once(method, path, body, kind)
                except (OSError, asyncio.IncompleteReadError):
                    self.drop()
                    if not reused:
                        raise
                    # The server had closed the idle connection: a browser asks once more on a new one, as part of it.
                    self.told["reopened"] += 1
                    status, headers, found = await self._once(method, path, body, kind)
            except (OSError, asyncio.IncompleteReadError) as fault:
                self.drop()
                self.told["faults"].append(repr(fault))
                status, headers, found = 0, {}, b""
            took = time.perf_counter() - began
            if status == 200:
                self.told["times"].append(took)
                return json.loads(found), took
            if status in {429, 503}:
                self.told["busy"].append(took)
                await asyncio.sleep(float(headers.get("retry-after", wait)) * random.uniform(1, 2))  # noqa: S311
            else:
                if status:
                    self.told["faults"].append(f"{status} {found[:200]!r}")
                await asyncio.sleep(wait * random.uniform(0.5, 1.5))  # noqa: S311
            wait = min(LONGEST_WAIT_S, 2 * wait)


async def telephone(log, picture, port, told):
    line = Line(port, log["token"], told)
    pieces, states, photo = log["pieces"], {}, log["photo"]

    async def post(some, asked=()):
        body = {"device": log["device"], "app": "bench", "later": True, "waiting": 0, "pieces": some, "asked": asked}
        found, _took = await line.ask("POST", "pieces/", json.dumps(body).encode())
        for outcome in found["outcomes"]:
            states[outcome["key"]] = outcome["state"]

    await post([])
    for start in range(0, len(pieces), BATCH):
        await post(pieces[start : start + BATCH])
    where = f"photos/{photo}/?device={log['device']}&total={len(picture)}"
    found, _took = await line.ask("GET", where)
    end, size = max((stop for _start, stop in found["here"]), default=0), PART
    while end < len(picture):
        part = picture[end : end + size]
        _found, took = await line.ask("PUT", f"{where}&place={end}&later=1", part, "application/octet-stream")
        end += len(part)
        size = max(PART, min(MOST_PART, int(PART_S * len(part) / took)))
    await post([], [photo])
    told["home"].append(time.time())
    wait = 3.0
    while any(state == "held" for state in states.values()):
        await asyncio.sleep(wait * random.uniform(1, 1.5))  # noqa: S311
        wait = min(LONGEST_WAIT_S, 2 * wait)
        await post([], [key for key, state in states.items() if state == "held"])
    told["states"].extend(states.values())
    line.drop()


async def main(path, port):
    content = json.loads(Path(path).read_text())
    picture = Path(content["picture"]).read_bytes()
    told = {"times": [], "busy": [], "faults": [], "home": [], "states": [], "reopened": 0}
    began = time.time()
    await asyncio.gather(*(telephone(log, picture, port, told) for log in content["logs"]))
    used = resource.getrusage(resource.RUSAGE_SELF)
    told |= {"began": began, "ended": time.time(), "own_cpu_s": used.ru_utime + used.ru_stime}
    print(json.dumps(told))


if __name__ == "__main__":
    asyncio.run(main(sys.argv[1], int(sys.argv[2])))
