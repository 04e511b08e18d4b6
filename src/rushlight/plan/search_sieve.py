"""What of parts and places passes before a search begins, and why the rest does not."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, cast

from rushlight.errors import RushlightError
from rushlight.records.parts import Part
from rushlight.records.rig import Rig
from rushlight.records.room import CameraPlace
from rushlight.records.search import NO_FILTER, SearchReason, SearchSettings
from rushlight.shelf.catalogue import Kind, Shelf
from rushlight.shelf.check_room import place_outside
from rushlight.shelf.report import Report

LADDER_M = 2.1
"""Height above the floor beyond which a place is taken to need a ladder (our own choice)."""


@dataclass
class Sieve:
    """Parts and places that pass, and why the others did not.

    Attributes
    ----------
    settings, rig
        Of the search.
    lost
        Kind and reason to what was left out for it.
    """

    settings: SearchSettings
    rig: Rig
    lost: dict[tuple[str, str], list[str]] = field(default_factory=dict)

    def lose(self, of: str, code: str, what: str) -> None:
        """Leave something out, by the code of a reason."""
        self.lost.setdefault((of, code), []).append(what)

    def parts(
        self, shelf: Shelf, kind: Kind, listed: Sequence[str], more: Callable[[Part], str | None]
    ) -> list[str]:
        for name in listed:
            if name != NO_FILTER and shelf.find(kind, name) is None:
                raise RushlightError.of(
                    f"rig.toml: search.{kind}s",
                    f'"{name}"',
                    f"is no {kind} on the shelf",
                    shelf.remedy(kind, name),
                    "part-unknown",
                )
        wanted = [name for name in listed if name != NO_FILTER] or [
            part.id for part in shelf.of_kind(kind) if not listed
        ]
        return [name for name in wanted if self._passes(shelf, kind, name, more)]

    def _passes(
        self, shelf: Shelf, kind: Kind, name: str, more: Callable[[Part], str | None]
    ) -> bool:
        part = shelf.find(kind, name)
        assert part is not None
        country = self.settings.country
        price = self.rig.prices.get(name) or self.settings.prices.get(name) or part.price
        if price is None:
            code: str | None = "price-unknown"
        elif country is not None and part.sold_in and country not in part.sold_in:
            code = "not-sold-here"
        else:
            code = more(part)
        if code is not None:
            self.lose(kind, code, name)
        return code is None

    def places(self, floor_m: float) -> list[CameraPlace]:
        room = self.rig.room
        if room is None:
            return []
        report = Report("rig.toml")
        report.ids("room.places", [each.id for each in room.places])
        if report.findings:
            raise RushlightError(report.findings)
        pointed_at = self.rig.surfaces if "surface" in self.rig.kinds else []
        passed = []
        for place in room.places:
            outside = place_outside(place, room, pointed_at[0]) if pointed_at else ""
            if outside:
                self.lose("place", "outside-room", f"{place.id} {outside}")
                continue
            missing = [tool for tool in tools_for(place, floor_m) if not self._at_hand(tool)]
            if missing:
                self.lose("place", f"no-{missing[0]}", place.id)
            else:
                passed.append(place)
        return passed

    def _at_hand(self, tool: str) -> bool:
        return self.settings.tools is None or tool in self.settings.tools

    def reasons(self) -> tuple[SearchReason, ...]:
        return tuple(
            SearchReason(
                of=cast(Any, of),
                code=code,
                words=REASONS[code],
                count=len(names),
                examples=names[:6],
            )
            for (of, code), names in self.lost.items()
        )


REASONS = {
    "price-unknown": "the price is not known, neither in the rig nor on the shelf",
    "not-sold-here": "not known to be sold in the country where the parts are bought",
    "infrared-cut": "has an infrared-cut filter in its lens",
    "needs-soldering": "must be soldered, which the builder does not do",
    "outside-room": "lies wholly outside the room, where no camera can stand",
    "no-drill": "needs a drill, which is not at hand",
    "no-ladder": "needs a ladder, which is not at hand",
}
"""Why parts and places are left out, in words."""


def tools_for(place: CameraPlace, floor_m: float) -> list[str]:
    """Which tools putting up a camera takes (our own rule, no source).

    A wall takes a drill; a ceiling, and whatever reaches above `LADDER_M`, takes a ladder.
    """
    top_m = max(place.corner[1].value, place.opposite[1].value) + floor_m
    high = place.kind == "ceiling" or top_m > LADDER_M
    return [*(["drill"] if place.kind == "wall" else []), *(["ladder"] if high else [])]
