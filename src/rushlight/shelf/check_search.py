"""Does a rig's search name parts that there are?"""

from __future__ import annotations

import difflib

from rushlight.errors import Finding
from rushlight.records.rig import Rig
from rushlight.records.search import NO_FILTER
from rushlight.shelf.catalogue import Kind, Shelf
from rushlight.shelf.cost import parts_used
from rushlight.shelf.report import Report

_NEAR = 0.7
"""Likeness from which an id on no shelf may be meant for one on it (our own choice)."""


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
    _check_prices(rig, shelf, report)


def prices_of_no_part(rig: Rig, shelf: Shelf, name: str = "rig.toml") -> list[Finding]:
    """Warnings of prices of a search that are those of no part, and so count in every rig.

    Parameters
    ----------
    rig, shelf
        The rig and its parts.
    name
        Of the rig's file, to stand in the findings.
    """
    report = Report(name)
    _check_prices(rig, shelf, report)
    return report.findings


def _check_prices(rig: Rig, shelf: Shelf, report: Report) -> None:
    priced = rig.search.prices if rig.search else {}
    known = {part for kind in shelf.parts.values() for part in kind}
    known |= {part for _, part in parts_used(rig)}
    for what in priced:
        if what in known or what in rig.prices:
            continue
        near = difflib.get_close_matches(what, sorted(known), n=1, cutoff=_NEAR)
        report.warning(
            "search-price-of-no-part",
            f"search.prices.{what}",
            None,
            "is on no shelf and no part of the rig, and is added to every rig's cost and to the "
            "order",
            f'write "{near[0]}" if that is meant'
            if near
            else "if every rig needs it, write it under [prices]; else remove it",
        )
