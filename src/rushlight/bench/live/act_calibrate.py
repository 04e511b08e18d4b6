"""The act of calibrating a lens before the running camera, with guidance told as views are kept."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rushlight.bench.live.work import Order, Teller

LENS = "lens.json"


def calibrate(order: Order, teller: Teller) -> Any:
    """Calibrate a lens; see `rushlight.jobs.calibrate_live.calibrate_live`."""
    from rushlight.jobs.calibrate_live import ENOUGH_VIEWS, calibrate_live
    from rushlight.jobs.lens_target import board_of

    options = order.options
    board = board_of(
        options.get("check_line"), options.get("check_line_up"), bool(options.get("not_to_scale"))
    )

    def seen(frame: Any, gatherer: Any) -> None:
        """The frame, with the board's corners if it is seen now, and of the views kept."""
        if not teller.view.due():
            return
        kept = [view.corners(view.largest_window_px) for view in gatherer.views]
        dots = [
            [round(float(x), 1), round(float(y), 1), None, False] for each in kept for x, y in each
        ]
        if gatherer.last_px is not None:
            dots += [
                [round(float(x), 1), round(float(y), 1), None, True] for x, y in gatherer.last_px
            ]
        teller.view.show(frame, dots)

    teller.progress("opening the camera", 0.0)
    return calibrate_live(
        order.source,
        board,
        Path(order.out or LENS),
        options.get("camera"),
        order.rig,
        views=int(options.get("views") or ENOUGH_VIEWS),
        say=lambda words: teller.tell({"calibrate": {"words": words}}),
        seen=seen,
        begins=teller.begins,
        begun=teller.begun,
    )
