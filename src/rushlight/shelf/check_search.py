"""Does a rig's search name parts that there are?"""

from __future__ import annotations

from rushlight.records.rig import Rig
from rushlight.records.search import NO_FILTER
from rushlight.shelf.catalogue import Kind, Shelf
from rushlight.shelf.report import Report


def check_search(rig: Rig, shelf: Shelf, report: Report) -> None:
    """Add what a search names and the shelf does not hold."""
    settings = rig.search
    if settings is None:
        return
    listed: list[tuple[Kind, str, str]] = [
        *(("camera", f"search.cameras[{i}]", each) for i, each in enumerate(settings.cameras)),
        *(("filter", f"search.filters[{i}]", each) for i, each in enumerate(settings.filters)),
        *(("emitter", f"search.emitters[{i}]", each) for i, each in enumerate(settings.emitters)),
        *(("cell", f"search.cells[{i}].part", each.part) for i, each in enumerate(settings.cells)),
    ]
    for kind, path, part in listed:
        if part == NO_FILTER and kind == "filter":
            continue
        if shelf.find(kind, part) is None:
            article = "an" if kind == "emitter" else "a"
            report.error(
                "part-unknown",
                path,
                part,
                f"is not {article} {kind} on the shelf",
                shelf.remedy(kind, part),
            )
