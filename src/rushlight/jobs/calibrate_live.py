"""Calibrate a lens before a running camera: views are kept as they come, the next is asked for."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path

from rushlight.capture.live import LiveDots, LiveFrames
from rushlight.errors import RushlightError
from rushlight.jobs.calibrate import CalibrateResult, calibrate_gathered, camera_named, guide
from rushlight.jobs.load import typed_length_s
from rushlight.jobs.sources import open_source
from rushlight.records.dots import Frame
from rushlight.register.lens_views import Board, Gatherer

ENOUGH_VIEWS = 12
"""How many views end the gathering (the project's own choice; more help less and less)."""

Say = Callable[[str], None]


def calibrate_live(
    source: str | None,
    board: Board,
    out: Path = Path("lens.json"),
    camera: str | None = None,
    rig_file: Path | None = None,
    length: str | None = None,
    views: int = ENOUGH_VIEWS,
    say: Say = lambda _: None,
    seen: Callable[[Frame, Gatherer], None] = lambda _frame, _gatherer: None,
    begins: Callable[[LiveFrames | LiveDots], None] = lambda _: None,
    begun: Callable[[Callable[[], None]], None] = lambda _: None,
) -> CalibrateResult:
    """The lens that a live camera's views of a board tell; written with its verdict.

    The board is held still in one place after the other; a view is kept when it differs from
    those before it. ``KeyboardInterrupt`` ends the gathering, and what was kept is used.

    Parameters
    ----------
    source
        As `open_live` takes it; None for the rig's own.
    board
        From `board_of`.
    out
        Calibration to write; the picture is drawn beside it.
    camera
        Id of the rig's camera; the first when None.
    rig_file
        The rig's file or folder.
    length
        After how long to stop looking, as text with unit; None looks until there are enough.
    views
        How many to keep, ≥ 3.
    say
        Told which view to hold next, and how many are kept.
    seen
        Told every frame, and the views gathered until then.
    begins
        Told the open source before its first frame.
    begun
        Told what to call from any thread to end the gathering.

    Raises
    ------
    RushlightError
        When the source gives no pictures, or the views tell no lens.
    """
    length_s = typed_length_s(length)
    gatherer = Gatherer(board, moving=True, most=views)
    with open_source(source, rig_file, camera, deep=False) as frames:
        if frames.gives_dots:
            raise RushlightError.of(
                frames.name,
                "",
                "sends dots and no pictures, in which no board can be found",
                "calibrate a camera that gives pictures",
                "no-pictures",
            )
        name, inputs = camera_named(camera, rig_file, frames)
        ending = None if length_s is None else threading.Timer(length_s, frames.stop)
        if ending is not None:
            ending.daemon = True
            ending.start()
        begins(frames)
        begun(frames.stop)
        say(f"first: {guide(gatherer, frames.size_px).words}")
        try:
            for frame in frames:
                image = None if isinstance(frame, tuple) else frame.image
                if image is None:
                    continue
                kept = gatherer.offer(image, f"frame {frame.index}")  # type: ignore[union-attr]
                seen(frame, gatherer)  # type: ignore[arg-type]
                if kept is None:
                    continue
                count = len(gatherer.views)
                if count >= views:
                    say(f"view {count} of {views} kept: enough")
                    break
                say(f"view {count} of {views} kept; next: {guide(gatherer, frames.size_px).words}")
        except KeyboardInterrupt:
            pass  # the user has seen enough
        finally:
            if ending is not None:
                ending.cancel()
    return calibrate_gathered(
        gatherer,
        frames.size_px,
        name,
        out,
        basis="simulated" if frames.simulated else "measured",
        inputs=inputs,
        earlier=tuple(frames.findings),
    )
