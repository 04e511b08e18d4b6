"""The work: a process of its own that owns the camera and does one act.

It tells the live process what it sees, hears from it what the user wants, and ends when that
process ends. The live process tells the pages; if the work dies, that is told too.
"""

from __future__ import annotations

import contextlib
import json
import os
import signal
import socket
import threading
import time
import traceback
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from queue import SimpleQueue
from typing import Any

from rushlight.bench.live.act_calibrate import calibrate
from rushlight.bench.live.act_register_space import register_space
from rushlight.bench.live.view import View
from rushlight.bench.live.wire import Body, Outbox, Splitter, plain
from rushlight.drive.output import Display, Results, Step
from rushlight.errors import Finding, RushlightError

Asks = SimpleQueue[Any]

REGISTRATION = "registration.json"
"""Of a rig's folder: taken where no other is named."""


@dataclass(frozen=True)
class Order:
    """One act, as it was asked for.

    Attributes
    ----------
    act
        One of `ACTS`.
    rig
        Folder of the rig; the work is done there, and paths are seen from there.
    source
        As `jobs.sources.open_source` takes it; None for the rig's own.
    out
        Where the result goes; None for what the job takes by itself.
    options
        Of the act.
    """

    act: str
    rig: Path
    source: str | None = None
    out: str | None = None
    options: dict[str, Any] = field(default_factory=dict)


class Teller:
    """What the work tells and hears; it looks on at a live run.

    Parameters
    ----------
    outbox
        To the live process.
    """

    def __init__(self, outbox: Outbox) -> None:
        self.outbox = outbox
        self.view = View(outbox)
        self._source: Any = None
        self._stop: Callable[[], None] | None = None
        self._stopping = False
        self._waiting: list[Body] = []
        self._heard: Callable[[Body], None] | None = None

    # What jobs call.

    def progress(self, what: str, share: float) -> None:
        """What is being made ready."""
        self.outbox.newest("progress", {"is": "progress", "what": what, "share": share})

    def begun(self, stop: Callable[[], None]) -> None:
        """How the act is ended; at once if that was asked for before."""
        self._stop = stop
        if self._stopping:
            stop()

    def begins(self, source: Any) -> None:
        """The source is open."""
        self._source = source
        self.view.full_scale_dn = source.full_scale_dn
        self.outbox.say(
            {
                "is": "begun",
                "simulated": source.simulated,
                "rehearsed": getattr(source, "rehearsed", False),
                "source": source.name,
            }
        )
        waiting, self._waiting = self._waiting, []
        for message in waiting:
            self.say(message)

    def output(self, display: Display) -> BenchOutput:
        """Places go to the pages too; see `jobs.watching.Watch`."""
        self.display(display.pixels, display.size_m)
        return BenchOutput(self.outbox)

    def space_output(self, space: Any) -> BenchViews:
        """Views go to the pages too; see `jobs.watching.Watch`."""
        from rushlight.jobs.watching import first_display

        if (display := first_display(space)) is not None:
            self.display(display.pixels, display.size_m)
        return BenchViews(self.outbox, space)

    def display(self, pixels: Sequence[int], size_m: Sequence[float]) -> None:
        """Columns and rows, and size [m], of the display that pages fill."""
        self.outbox.say({"is": "display", "display_px": pixels, "surface_m": size_m})

    def seen(self, followed: Any) -> None:
        """One frame of a live run; see `jobs.watching.Watch`."""
        self.view.offer(followed)

    def tell(self, state: Any) -> None:
        """How the act stands."""
        self.outbox.newest("state", {"is": "state", **plain(state)})

    # What the live process says.

    def hear(self, message: Body) -> None:
        """One message."""
        if "looking" in message:
            self.view.looking = bool(message["looking"])
        if message.get("stop"):
            self._stopping = True
            if self._stop is not None:
                self._stop()
        if "say" in message:
            self.say(message["say"])

    def on_say(self, heard: Callable[[Body], None]) -> None:
        """Who takes what is said to the act itself."""
        self._heard = heard

    def say(self, message: Body) -> None:
        """To the act, or to the hands of its rehearsal."""
        if self._source is None and self._heard is None:
            self._waiting.append(message)
            return
        source = self._source
        if getattr(source, "rehearsed", False):
            with contextlib.suppress(KeyError, TypeError, ValueError):
                if "invite" in message:
                    source.invite(**message["invite"])
                if "release" in message:
                    told = message["release"]
                    source.release(**(told if isinstance(told, dict) else {"carried": told}))
                if "look" in message and hasattr(source, "look"):
                    source.look(**message["look"])
                if "wander" in message:
                    source.wander(bool(message["wander"]))
        if self._heard is not None:
            self._heard(message)


class BenchOutput:
    """The pages as an output; see `drive.output.Output`.

    Parameters
    ----------
    outbox
        To the live process.
    """

    name = "bench"

    def __init__(self, outbox: Outbox) -> None:
        self._outbox = outbox
        self.sent = 0
        self.findings: list[Finding] = []
        self._were = False

    @property
    def lost(self) -> int:
        """Places overtaken on the way to the live process."""
        return self._outbox.lost

    def put(self, results: Results, steps: list[Step] | Any) -> int:
        """Hand on what a frame told, if it told anything."""
        spots = [
            [fix.carried, float(fix.position_m[0]), float(fix.position_m[1]), bool(fix.switch)]
            for fix in results.fixes
            if fix.dimensions == 2
        ]
        switches = [
            [event.kind, event.carried, round(event.time_ns * 1e-6, 3)] for event in results.events
        ]
        were, self._were = self._were, bool(spots)
        if not (spots or were or steps or switches):
            return -1
        self.sent += 1
        # An empty list, once, tells that nothing is lit any more.
        self._outbox.moved(steps, spots, switches, results.frame, results.capture_ns)
        return time.monotonic_ns()

    def close(self) -> None:
        """Nothing is held."""


class BenchViews:
    """The pages as an output for eyes: what `drive.views` tells of each, and the newest counts.

    Parameters
    ----------
    outbox
        To the live process.
    space
        With the screens; of what is no eye nothing is told.
    """

    name = "bench"
    lost = 0

    def __init__(self, outbox: Outbox, space: Any) -> None:
        self._outbox, self._space = outbox, space
        self.sent = 0
        self.findings: list[Finding] = []

    def put(self, results: Results, steps: list[Step] | Any) -> int:
        """Hand on where eyes are, if any was found."""
        from rushlight.drive.views import is_eye, view_object, view_of

        screens, scene_m = self._space.screens, self._space.scene_m
        views = [
            view_object(view_of(fix, screens, scene_m)) for fix in results.fixes if is_eye(fix)
        ]
        if not views or not screens:
            return -1
        self.sent += 1
        now_ns = time.monotonic_ns()
        self._outbox.newest(
            "views",
            {
                "is": "views",
                "frame": results.frame,
                "capture_ms": round(results.capture_ns * 1e-6, 3),
                "sent_ms": round(now_ns * 1e-6, 3),
                "views": views,
            },
        )
        return now_ns

    def close(self) -> None:
        """Nothing is held."""


def run(order: Order, teller: Teller) -> Any:
    """Follow the lights; see `jobs.live.run_live`."""
    from rushlight.jobs.live import run_live
    from rushlight.jobs.live_choice import LiveChoice

    options = order.options
    registration = options.get("registration") or REGISTRATION
    path = Path(registration)
    outputs = options.get("outputs")
    choice = LiveChoice(
        source=order.source,
        outputs=None if outputs is None else tuple(outputs),
        filter_name=options.get("filter"),
        ahead=options.get("ahead"),
        length=options.get("length"),
        loop=bool(options.get("loop")),
        cameras=tuple(options.get("cameras") or ()),
    )
    return run_live(
        choice,
        None if order.out is None else Path(order.out),
        order.rig,
        path if options.get("registration") or path.exists() else None,
        tell=teller.tell,
        progress=teller.progress,
        begun=teller.begun,
        watch=teller,
    )


class BeaconShow:
    """Tells the pages of live touches; see `jobs.register_telling.Show` and `ReadyShow`.

    Parameters
    ----------
    teller
        Of the act.
    name
        Under which the state is told.
    """

    def __init__(self, teller: Teller, name: str) -> None:
        self._teller, self._name = teller, name

    def beacon(self, beacon: Any) -> None:
        """The beacon that stands, or None."""
        shown = None if beacon is None else beacon.as_dict()
        self._teller.outbox.newest("beacon", {"is": "beacon", "beacon": shown})

    def state(self, state: Any) -> None:
        """How it stands, after every touch."""
        told = state.as_dict()
        self._teller.tell({self._name: told, "findings": told["findings"]})

    def seen(self, frame: Any, dots: Any) -> None:
        """Every frame."""
        if self._teller.view.due():
            rows = [[round(float(x), 2), round(float(y), 2), None, False] for x, y in dots.xy]
            self._teller.view.show(frame, rows)


def touched(order: Order, teller: Teller) -> tuple[Any, Asks]:
    """The open source of an act of touches, and what the user asks meanwhile."""
    from rushlight.jobs.load import load_rig
    from rushlight.jobs.sources import open_source

    surfaces = load_rig(order.rig)[0].surfaces
    if surfaces:
        size_m = (surfaces[0].width.value, surfaces[0].height.value)
        teller.display(surfaces[0].pixels, size_m)
    teller.progress("opening the camera", 0.0)
    source = open_source(order.source, order.rig)
    asks: Asks = SimpleQueue()
    teller.on_say(asks.put)
    teller.begins(source)
    return source, asks


def register(order: Order, teller: Teller) -> Any:
    """Register by beacons; see `jobs.register_live.register_live`; in space step by step."""
    from rushlight.jobs.register_live import register_live
    from rushlight.jobs.register_space_live import by_steps

    if by_steps(order.rig):
        return register_space(order, teller, order.out or REGISTRATION)
    options = order.options
    source, asks = touched(order, teller)
    teller.begun(source.stop)
    return register_live(
        order.rig,
        Path(order.out or REGISTRATION),
        BeaconShow(teller, "register"),
        source,
        **{key: options[key] for key in ("beacons", "linger", "patience_s") if key in options},
        touched_by=tuple(options.get("touched_by") or ()),
        asks=asks,
        survey_path=Path(options["survey"]) if options.get("survey") else None,
    )


def ready(order: Order, teller: Teller) -> Any:
    """Check a registered rig; see `jobs.ready.ready`."""
    from rushlight.jobs.ready import ready as job

    options = order.options
    source, asks = touched(order, teller)
    teller.begun(lambda: asks.put({"stop": True}))
    registration = options.get("registration")
    return job(
        order.rig,
        None if registration is None else Path(registration),
        BeaconShow(teller, "morning"),  # "ready" are the pages that are begun
        source,
        **{
            key: options[key]
            for key in ("touched_by", "patience_s", "cells_since")
            if key in options
        },
        asks=asks,
    )


def aim(order: Order, teller: Teller) -> Any:
    """Find where the camera stands; see `jobs.aim_live.aim_live`."""
    from rushlight.jobs.aim_live import aim_live
    from rushlight.jobs.rehearsal import askew

    options = order.options
    if options.get("askew"):
        order = replace(order, source=askew(order.source))
    source, asks = touched(order, teller)
    teller.begun(source.stop)
    return aim_live(
        order.rig,
        None if order.out is None else Path(order.out),
        BeaconShow(teller, "aim"),
        source,
        **{key: options[key] for key in ("places", "held", "linger") if key in options},
        asks=asks,
    )


ACTS: dict[str, Callable[[Order, Teller], Any]] = {
    "run": run,
    "register": register,
    "ready": ready,
    "calibrate": calibrate,
    "aim": aim,
}
"""What can be done, by name."""


def work(theirs: socket.socket, order: Order) -> None:
    """Do one act; the main function of its process.

    Parameters
    ----------
    theirs
        To the live process.
    order
        What to do.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the live process decides when this one ends
    hearing = theirs.dup()
    outbox = Outbox(theirs)
    teller = Teller(outbox)
    threading.Thread(target=_listen, args=(hearing, teller), daemon=True).start()
    try:
        os.chdir(order.rig)
        result = ACTS[order.act](order, teller)
        told = result.as_dict() if hasattr(result, "as_dict") else plain(result)
        outbox.say({"is": "done", "act": order.act, "result": told})
    except RushlightError as error:
        outbox.say({"is": "failed", "act": order.act, "findings": list(error.findings)})
    except Exception as error:  # a fault of ours is told to whoever looks at the page
        traceback.print_exc()
        outbox.say({"is": "failed", "act": order.act, "findings": [_fault(order, error)]})
    finally:
        teller.view.close()
        outbox.close()


def _fault(order: Order, error: Exception) -> Finding:
    return Finding(
        "error",
        "work-fault",
        order.act,
        "",
        f"met a fault of the program: {type(error).__name__}: {error}",
        "see .bench/live.log, and begin it anew",
    )


def _listen(hearing: socket.socket, teller: Teller) -> None:
    """Hear the live process until it ends; then the act ends too."""
    import select

    splitter = Splitter()
    with contextlib.suppress(OSError, ValueError):
        while True:
            select.select([hearing], [], [])
            try:
                chunk = hearing.recv(1 << 16)
            except BlockingIOError:  # both ends of a copy share that it never blocks
                continue
            if not chunk:
                break
            for text, _ in splitter.feed(chunk):
                teller.hear(json.loads(text))
    teller.hear({"stop": True})
