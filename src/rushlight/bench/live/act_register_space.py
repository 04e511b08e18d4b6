"""The act of registering cameras in space, step by step, each begun by a word of the user."""

from __future__ import annotations

from pathlib import Path
from queue import SimpleQueue
from typing import TYPE_CHECKING, Any, get_args

if TYPE_CHECKING:
    from rushlight.bench.live.work import Order, Teller


def register_space(order: Order, teller: Teller, out: str) -> Any:
    """Register by steps; see `rushlight.jobs.register_space_live.register_space_live`.

    Parameters
    ----------
    order
        With the sources of several cameras in its options, or one for all.
    teller
        Is told the mark that stands, and how it goes.
    out
        Registration to write.
    """
    from rushlight.jobs.load import load_rig
    from rushlight.jobs.register_space_live import Asks, Word, register_space_live
    from rushlight.jobs.register_space_telling import StepTelling
    from rushlight.jobs.space_sources import open_sources

    def seen(frame: Any, dots: Any) -> None:
        if teller.view.due():
            rows = [[round(float(x), 2), round(float(y), 2), None, False] for x, y in dots.xy]
            teller.view.show(frame, rows)

    show = StepTelling(
        order.rig,
        lambda mark: teller.outbox.newest("mark", {"is": "mark", "mark": mark}),
        lambda state: teller.tell({"register": state}),
        seen,
    )
    if show.display is not None:
        teller.display(show.display.pixels, show.display.size_m)
    asks: Asks = SimpleQueue()

    def heard(message: dict[str, Any]) -> None:
        if (word := message.get("word")) in get_args(Word):
            asks.put(word)

    options = order.options
    given = options.get("cameras") or (() if order.source is None else (order.source,))
    teller.progress("opening the cameras", 0.0)
    rig, _ = load_rig(order.rig)
    with open_sources(given, rig, order.rig, bool(options.get("loop"))) as source:
        teller.on_say(heard)
        teller.begins(source.sources[0])
        teller.begun(source.stop)
        return register_space_live(order.rig, Path(out), show, asks, source)
