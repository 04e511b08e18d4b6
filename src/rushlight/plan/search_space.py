"""What a search may choose, and how a choice becomes a rig.

Everything that can be refused before anything is computed is refused here, with its reason. The
estimates of building time are our own, no source; a rig states `work` of a place to better them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from rushlight.errors import RushlightError
from rushlight.plan.search_sieve import Sieve
from rushlight.records.parts import EmitterPart
from rushlight.records.quantity import parse_quantity
from rushlight.records.rig import Carried, Rig
from rushlight.records.room import CameraPlace
from rushlight.records.search import NO_FILTER, SearchReason, SearchSettings
from rushlight.records.sourced import Price
from rushlight.records.wiring import Feed
from rushlight.shelf.catalogue import Kind, Shelf
from rushlight.shelf.check import check_rig
from rushlight.shelf.cost import parts_used
from rushlight.shelf.resolve import lit_emitters

Array = NDArray[Any]

HANGING_S = {"tripod": 300.0, "table": 300.0, "shelf": 600.0, "wall": 1800.0, "ceiling": 2400.0}
"""Time to put a camera up [s] by the kind of place (our own estimate, no source)."""
LIGHT_S = {True: 300.0, False: 1500.0}
"""Time for a light [s], wired or to be soldered (our own estimate, no source)."""
FILTER_S, REGISTER_S = 600.0, 1200.0
"""Time to fix a filter, and to register the rig [s] (our own estimate, no source)."""

AXES = ("place", "camera", "filter", "emitter", "drive")
"""The choices among a few, in the order of a candidate's first columns."""
SHARES = 5
"""Columns of a candidate after its choices: along the place's box (3), and of the surface that it
looks at (2), from 0 to 1."""


@dataclass(frozen=True)
class Drive:
    """What drives every stylus's lights.

    Attributes
    ----------
    current_a
        Of each light [A]; NaN keeps the rig's own.
    cells
        What feeds each stylus; None keeps the rig's own.
    """

    current_a: float = math.nan
    cells: Feed | None = None


@dataclass(frozen=True)
class SearchSpace:
    """What may be chosen.

    Attributes
    ----------
    places
        Where the camera may stand.
    cameras, filters, emitters
        Ids of parts; None among the filters for none.
    drives
        Every current with every choice of cells.
    reasons
        Why parts and places were left out.
    """

    rig: Rig
    shelf: Shelf
    settings: SearchSettings
    places: tuple[CameraPlace, ...]
    cameras: tuple[str, ...]
    filters: tuple[str | None, ...]
    emitters: tuple[str, ...]
    drives: tuple[Drive, ...]
    reasons: tuple[SearchReason, ...] = ()

    @property
    def counts(self) -> tuple[int, ...]:
        """How many there are of each of `AXES`."""
        return (
            len(self.places),
            len(self.cameras),
            len(self.filters),
            len(self.emitters),
            len(self.drives),
        )

    @property
    def size_m(self) -> tuple[float, float]:
        """Width and height of the surface [m]."""
        surface = self.rig.surfaces[0]
        return surface.width.value, surface.height.value

    @property
    def corners_m(self) -> Array:
        """Two opposite corners (N, 2, 3) [m] of each place, the lesser coordinates first."""
        corners = [[_metres(p.corner), _metres(p.opposite)] for p in self.places]
        return np.sort(np.array(corners, float), axis=1)

    @property
    def free(self) -> Array:
        """Which shares (N, 5) can be chosen in each place; the others stay at a half."""
        sides = np.ptp(self.corners_m, axis=1) > 0.0
        aims = np.full((len(self.places), 2), self.settings.aim == "free")
        return np.concatenate([sides, aims], axis=1)

    def whole(self, choices: Array) -> Array:
        """Candidates (R, V) of whole choices and round shares, a half where there is no choice."""
        axes = len(self.counts)
        numbers = np.clip(np.round(choices[:, :axes]), 0, np.array(self.counts) - 1)
        free = self.free[numbers[:, 0].astype(int)]
        shares = np.where(free, np.round(np.clip(choices[:, axes:], 0.0, 1.0), 3), 0.5)
        return np.concatenate([numbers, shares], axis=1)

    def positions_m(self, place: Array, share: Array) -> Array:
        """Where (R, 3) [m] cameras stand that take a share (R, 3) of a place's (R,) box."""
        low, high = self.corners_m[place, 0], self.corners_m[place, 1]
        return np.asarray(low + share * (high - low))

    def looks_m(self, share: Array) -> Array:
        """What (R, 3) [m] cameras look at, by the share (R, 2) of the surface's sides."""
        return np.concatenate([share * np.array(self.size_m), np.zeros((len(share), 1))], axis=-1)

    @property
    def before_m(self) -> tuple[Array, Array]:
        """A point (3,) [m] in the room that is before the middle of the surface, and that middle.

        Wherever the places are, nothing is wrong with a camera there but its parts.
        """
        room = self.rig.room
        depth_m = room.depth.value if room and room.depth else 4.0
        middle = self.looks_m(np.array([[0.5, 0.5]]))[0]
        return middle + np.array([0.0, 0.0, depth_m / 2.0]), middle

    def rig_of(self, parts: Sequence[int], position_m: Sequence[float], look_m: Any) -> Rig:
        """The rig with a camera, filter, emitter and drive (indices), placed and aimed."""
        camera, filter_, emitter, drive = parts
        return with_parts(
            self.rig,
            self.shelf,
            (self.cameras[camera], self.filters[filter_]),
            (self.emitters[emitter], self.drives[drive]),
            position_m,
            look_m,
        )

    def build_s(self, place: CameraPlace | None, filter_: str | None, emitter: str) -> float:
        """Time to build a rig [s], where the places and parts are as given."""
        hanging = 0.0
        if place is not None:
            hanging = place.work.value if place.work else HANGING_S[place.kind]
        wired = self.shelf.emitter(emitter).wired
        lights = len(lit_emitters(self.rig)) * LIGHT_S[wired]
        return hanging + lights + (FILTER_S if filter_ else 0.0) + REGISTER_S


def with_parts(
    rig: Rig,
    shelf: Shelf,
    eye: tuple[str, str | None],
    light: tuple[str, Drive],
    position_m: Sequence[float],
    look_m: Sequence[float],
) -> Rig:
    """A rig with other parts, its camera elsewhere; its exposure is left to the plan.

    Parameters
    ----------
    rig, shelf
        As they stand.
    eye
        Ids of camera and filter; no filter is None.
    light
        Id of the emitter of every stylus, and what drives it.
    position_m, look_m
        (3,) in the rig frame.
    """
    old = rig.cameras[0]
    part = shelf.camera(eye[0])
    rate = min(old.frame_rate.value, part.frame_rate.si)
    camera = old.model_copy(
        update={
            "part": eye[0],
            "filter": eye[1],
            "lens": old.lens if old.part == eye[0] else None,
            "exposure": "auto",
            "frame_rate": parse_quantity(f"{rate:g} Hz", "frequency"),
            "position": tuple(length_of(step) for step in position_m),
            "look_at": tuple(length_of(step) for step in look_m),
            "aim": None,
        }
    )
    carried = [_with_light(thing, *light) for thing in rig.carried]
    changed = rig.model_copy(update={"cameras": [camera, *rig.cameras[1:]], "carried": carried})
    return bare(changed.model_copy(update={"prices": prices_of(changed, shelf)}))


def bare(rig: Rig) -> Rig:
    """A rig without what a search chooses from, which is no part of what is built.

    So what is wrong with one place does not stand against a camera in another.
    """
    room = rig.room.model_copy(update={"places": []}) if rig.room else None
    return rig.model_copy(update={"search": None, "room": room})


def _with_light(thing: Carried, emitter: str, drive: Drive) -> Carried:
    if thing.kind != "stylus" or all(each.part is None for each in thing.emitters):
        return thing
    update: dict[str, Any] = {"part": emitter}
    if np.isfinite(drive.current_a):
        update["current"] = parse_quantity(f"{1e3 * drive.current_a:.6g} mA", "current")
    fed = {"cell": drive.cells.part, "cells": drive.cells.cells} if drive.cells else {}
    return thing.model_copy(
        update={
            **fed,
            "emitters": [
                each.model_copy(update=update) if each.part is not None else each
                for each in thing.emitters
            ],
        }
    )


def prices_of(rig: Rig, shelf: Shelf) -> dict[str, Price]:
    """The rig's own prices and the search's, without those of exchanged parts."""
    known = {**(rig.search.prices if rig.search else {}), **rig.prices}
    used = {part for _, part in parts_used(rig)}
    kinds: tuple[Kind, ...] = ("camera", "filter", "emitter", "cell")
    return {
        what: price
        for what, price in known.items()
        if what in used or not any(shelf.find(kind, what) for kind in kinds)
    }


def space_of(rig: Rig, shelf: Shelf, name: str = "rig.toml") -> SearchSpace:
    """What a search over a rig may choose.

    Raises
    ------
    RushlightError
        When the rig has more cameras than one or carries reflectors, names a part that is on no
        shelf, names no place for its camera, or nothing is left to choose from; the finding then
        says why everything was left out.
    """
    if len(rig.cameras) > 1:
        raise RushlightError.of(
            f"{name}: cameras",
            str(len(rig.cameras)),
            "are more than a search places: it looks for the place of one camera",
            "search with one, and plan the others by hand",
            "search-one-camera",
        )
    reflecting = [each.id for each in rig.carried if any(one.reflector for one in each.emitters)]
    if reflecting:
        raise RushlightError.of(
            f"{name}: carried",
            ", ".join(reflecting),
            "shines by a reflector, and a search judges lights of their own only",
            "plan this rig place by place, or search with an emitter in the reflector's stead",
            "search-reflector",
        )
    return choices_of(rig, shelf, name)


def choices_of(rig: Rig, shelf: Shelf, name: str = "rig.toml") -> SearchSpace:
    """Parts and places to choose from, whatever the rig's kind and number of cameras.

    Raises
    ------
    RushlightError
        As `space_of`, but for the number of cameras.
    """
    settings = rig.search or SearchSettings()
    _refuse_unknown_parts(rig, shelf, name)
    if rig.room is None or not rig.room.places:
        raise RushlightError.of(
            f"{name}: room.places",
            "",
            "is missing, and without it nobody knows where a camera may go",
            "add a [[room.places]] with id, kind, corner and opposite for each such place",
            "search-places",
        )
    sieve = Sieve(settings, rig)
    cameras = sieve.parts(
        shelf,
        "camera",
        settings.cameras,
        lambda part: "infrared-cut" if getattr(part, "infrared_cut", False) else None,
    )
    emitters = sieve.parts(
        shelf,
        "emitter",
        settings.emitters,
        lambda part: (
            "needs-soldering"
            if not settings.soldering and not cast(EmitterPart, part).wired
            else None
        ),
    )
    filters: list[str | None] = list(
        sieve.parts(shelf, "filter", settings.filters, lambda part: None)
    )
    # Bare, the camera sees the picture too: only where the rig does so, or the user lists it.
    unfiltered = rig.cameras[0].filter is None and not settings.filters
    if unfiltered or NO_FILTER in settings.filters:
        filters.append(None)
    cells: list[str] = []
    if settings.cells:
        cells = sieve.parts(
            shelf,
            "cell",
            list(dict.fromkeys(each.part for each in settings.cells)),
            lambda part: None,
        )
    places = sieve.places(rig.surfaces[0].height_above_floor.value if rig.surfaces else 0.0)
    reasons = sieve.reasons()
    for what, left in (
        ("camera", cameras), ("filter", filters), ("emitter", emitters), ("place", places),
        ("cell", cells or not settings.cells),
    ):  # fmt: skip
        if not left:
            why = "; ".join(
                f"{', '.join(each.examples)}: {each.words}" for each in reasons if each.of == what
            )
            raise RushlightError.of(
                f"{name}: search",
                "",
                f"leaves no {what} to choose from ({why or 'none is listed'})",
                "list more, give prices, or loosen what rules them out",
                "search-empty",
            )
    return SearchSpace(
        rig,
        shelf,
        settings,
        tuple(places),
        tuple(cameras),
        tuple(filters),
        tuple(emitters),
        _drives(settings, cells),
        reasons,
    )


def _refuse_unknown_parts(rig: Rig, shelf: Shelf, name: str) -> None:
    """Raise what the rig as it stands names and the shelf does not hold, by its field."""
    found = check_rig(bare(rig), shelf, name)
    unknown = [each for each in found if each.code == "part-unknown" and each.severity == "error"]
    if unknown:
        raise RushlightError(unknown)


def _drives(settings: SearchSettings, cells: Sequence[str]) -> tuple[Drive, ...]:
    """Every current with every supply of those cells that pass, none twice."""
    currents = [current.value for current in settings.currents] or [math.nan]
    feeds = [each for each in settings.cells if each.part in cells] or [None]
    return tuple(Drive(current, feed) for current in currents for feed in feeds)


def length_of(metres: float) -> Any:
    """A length [m] as a rig's document has it, to a tenth of a millimetre."""
    return parse_quantity(f"{float(metres):.4f} m".replace("-0.0000", "0.0000"), "length")


def _metres(place: Any) -> list[float]:
    return [step.value for step in place]
