"""A real live process whose work does what a test tells it through the desk's socket.

Only the act is a stand-in: server, hub, sockets and the work's own process are those of the bench.
"""

import asyncio
import queue
import sys
import threading
import time
from pathlib import Path
from types import SimpleNamespace

from rushlight.bench.live import work as work_module
from rushlight.bench.live.hub import Hub
from rushlight.bench.live.server import serve
from rushlight.drive.output import Step

SIZE_PX, SIZE_M = (1280, 800), (2.4, 1.5)
PRESS_NS = 30_000_000
VIEWS_EVERY_S = 0.2


def steps_of(rows):
    """Steps as [pointer, kind, x px, y px], all of this moment."""
    now = time.monotonic_ns()
    return [
        Step(kind, pointer, f"stylus-{pointer}", float(x), float(y), now, now, now)
        for pointer, kind, x, y in rows
    ]


def flood(outbox, frames, length):
    """As many frames as a camera of 500 Hz gives; two pointers, and a name of such a length."""
    beside = [["l" * length, 1.25, 0.75, True]]
    for number in range(frames):
        kind = "down" if number == 0 else "up" if number == frames - 1 else "move"
        rows = [[pointer, kind, number, number] for pointer in (1, 2)]
        outbox.moved(steps_of(rows), beside, [], number, time.monotonic_ns())
        time.sleep(0.002)


def tap(outbox, carried, x_m, y_m, **_):
    """A light down and up where a page has asked for it."""
    x_px = x_m / SIZE_M[0] * SIZE_PX[0]
    y_px = (1.0 - y_m / SIZE_M[1]) * SIZE_PX[1]
    now = time.monotonic_ns()
    steps = [
        Step(kind, 1, carried, x_px, y_px, at, at, at)
        for kind, at in (("down", now), ("up", now + PRESS_NS))
    ]
    outbox.moved(steps, [], [], 0, now)


def puppet(order, teller):
    """Do as told until ended; whatever else is said is told back in the state."""
    asked, ended, heard = queue.SimpleQueue(), threading.Event(), []
    simulated = order.options.get("simulated", True)
    source = SimpleNamespace(full_scale_dn=255, simulated=simulated, rehearsed=False, name="puppet")
    teller.on_say(asked.put)  # first, for a page answers to what follows at once
    teller.begins(source)
    teller.display(SIZE_PX, SIZE_M)
    teller.begun(lambda: (ended.set(), asked.put({})))
    teller.tell({"heard": heard})
    views, obeys = None, False
    while not ended.is_set():
        try:
            message = asked.get(timeout=None if views is None else VIEWS_EVERY_S)
        except queue.Empty:
            message = {}
        if "views" in message:
            views = message["views"]
        if views is not None:  # as a camera tells them, again and again
            teller.outbox.newest("views", {"is": "views", "views": views})
        if "obeys" in message:
            obeys = message["obeys"]
        elif "beacon" in message:
            teller.outbox.newest("beacon", {"is": "beacon", "beacon": message["beacon"]})
        elif "tell" in message:
            teller.tell({**message["tell"], "heard": heard})
        elif "steps" in message:
            now = time.monotonic_ns()
            teller.outbox.moved(steps_of(message["steps"]), [], [], message.get("frame", 0), now)
        elif "flood" in message:
            flood(teller.outbox, **message["flood"])
        elif message and "views" not in message:
            heard.append(message)
            teller.tell({"heard": heard})
            if obeys and "invite" in message:
                tap(teller.outbox, **message["invite"])
    return {"heard": heard}


def work(theirs, order):
    """The work's main function, with the stand-in for its act."""
    work_module.ACTS["run"] = work_module.ACTS["register"] = puppet
    work_module.work(theirs, order)


if __name__ == "__main__":
    asyncio.run(serve(Path(sys.argv[1]), sys.argv[2], Hub(work)))
