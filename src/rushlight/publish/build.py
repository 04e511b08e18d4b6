"""What is needed to build a rig, before any kit is made: parts, circuits, drawings, steps.

Kits and whoever builds by the rig's own folder are given the same, from the same numbers.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from rushlight.errors import RushlightError
from rushlight.publish.aim import Hanging, hanging_of
from rushlight.publish.buying import Purchase, purchases
from rushlight.publish.cautions import DEFER, caution_text, hazards_of
from rushlight.publish.sheet import Drawing
from rushlight.publish.space_steps import space_steps
from rushlight.publish.space_views import millimetres, room_views, thing_views
from rushlight.publish.steps import steps_of
from rushlight.publish.views import front_view, side_view, top_view
from rushlight.publish.wiring import Circuit, circuits_of, wiring_drawing
from rushlight.publish.wording import camera_words
from rushlight.records.kit import Step
from rushlight.records.plan import Plan
from rushlight.records.rig import Rig
from rushlight.records.space import ResolvedSpace, Thing
from rushlight.records.space_plan import SpacePlan
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.resolve import resolve
from rushlight.shelf.resolve_space import resolve_space


class Lookup(NamedTuple):
    """A table that a step refers to.

    Attributes
    ----------
    what
        What it tells.
    columns, rows
        Heads and cells; the first cell names its row.
    """

    what: str
    columns: tuple[str, ...]
    rows: list[tuple[str, ...]]


@dataclass(frozen=True, kw_only=True)
class Build:
    """All that is needed to build a rig.

    Attributes
    ----------
    bought
        Lines of what to buy.
    circuits
        Those without a told supply cannot be drawn.
    wiring, mounting
        Drawings of the circuits; and of the room, with whatever is carried in it.
    steps
        In the order of the work.
    cautions
        Whole, the one that defers to others first.
    lookups
        Tables that the steps refer to.
    """

    bought: Sequence[Purchase]
    circuits: Sequence[Circuit]
    wiring: Sequence[Drawing]
    mounting: Sequence[Drawing]
    steps: list[Step]
    cautions: list[str]
    lookups: Sequence[Lookup]

    @property
    def drawings(self) -> dict[str, Drawing]:
        """File name to drawing, circuits first."""
        return {f"{each.name}.svg": each for each in (*self.wiring, *self.mounting)}


@dataclass(frozen=True, kw_only=True)
class SurfaceBuild(Build):
    """The same for pointing at a surface, with how its cameras hang."""

    hangings: Sequence[Hanging]


@dataclass(frozen=True, kw_only=True)
class SpaceBuild(Build):
    """The same for a rig of space, with its places resolved."""

    space: ResolvedSpace


def surface_build(rig: Rig, shelf: Shelf, plan: Plan) -> SurfaceBuild:
    """What is needed to build a rig for pointing at a surface.

    Raises
    ------
    RushlightError
        When the rig cannot be resolved, or has no surface.
    """
    if not rig.surfaces:
        raise RushlightError.of(
            "rig.toml: surfaces",
            "",
            "is empty, and kits are made of rigs with a surface so far",
            "add the surface that is pointed at",
            "kit-no-surface",
        )
    resolved = resolve(rig, shelf)
    hangings = [hanging_of(resolved, i, camera.id) for i, camera in enumerate(rig.cameras)]
    circuits = circuits_of(plan.circuits, shelf)
    return SurfaceBuild(
        bought=purchases(rig, shelf, circuits),
        circuits=circuits,
        wiring=_wiring(circuits),
        mounting=[
            side_view(rig, hangings),
            top_view(rig, hangings),
            front_view(rig, hangings, plan.beacons),
        ],
        steps=steps_of(rig, plan, circuits, hangings),
        cautions=cautions_of(rig, plan),
        lookups=[
            Lookup(
                "Where a light in each corner of the surface appears in the picture of "
                f"{camera_words(hanging.camera)}, counted from its upper left (predicted)",
                ("Corner", "Across, down"),
                [*corner_rows(hanging)],
            )
            for hanging in hangings
        ],
        hangings=hangings,
    )


def space_build(rig: Rig, shelf: Shelf, plan: SpacePlan) -> SpaceBuild:
    """What is needed to build a viewpoint, body or volume rig.

    Raises
    ------
    RushlightError
        When the rig cannot be resolved.
    """
    space = resolve_space(rig, shelf)
    circuits = circuits_of(plan.circuits, shelf)
    things = things_of(space)
    return SpaceBuild(
        bought=purchases(rig, shelf, circuits),
        circuits=circuits,
        wiring=_wiring(circuits),
        mounting=[
            *room_views(space),
            *(view for thing in things for view in thing_views(thing)),
        ],
        steps=space_steps(rig, plan, space, circuits),
        cautions=cautions_of(rig, plan),
        lookups=[
            Lookup(
                f"Places on {thing.id}, from its drawing’s 0",
                ("Name", "What", "x", "y", "z"),
                [*light_rows(thing)],
            )
            for thing in things
        ],
        space=space,
    )


def things_of(space: ResolvedSpace) -> list[Thing]:
    """Whatever bears lights."""
    return [*space.things, *([space.scale_bar] if space.scale_bar else [])]


def corner_rows(hanging: Hanging) -> list[tuple[str, str]]:
    """Corners of the surface, and where they lie in a camera's picture."""
    names = ("lower left", "lower right", "upper right", "upper left")
    return [
        (name, f"{x:.0f}, {y:.0f} px" if math.isfinite(x) else "outside the picture")
        for name, (x, y) in zip(names, hanging.corners_px, strict=True)
    ]


def light_rows(thing: Thing) -> list[tuple[str, str, str, str, str]]:
    """Lights and named points with their places."""
    rows = [
        (name, "light", *(millimetres(float(step)) for step in place))
        for name, place in zip(thing.light_ids, thing.lights_m, strict=True)
    ]
    return rows + [
        (name, "point", *(millimetres(float(step)) for step in place))
        for name, place in zip(thing.point_names, thing.points_m, strict=True)
    ]


def cautions_of(rig: Rig, plan: Plan | SpacePlan) -> list[str]:
    """Every caution of a rig, whole, after the one that defers to local codes."""
    return [DEFER, *(caution_text(hazard) for hazard in hazards_of(rig, plan))]


def _wiring(circuits: Sequence[Circuit]) -> list[Drawing]:
    drawn = [circuit for circuit in circuits if circuit.drawable]
    return [wiring_drawing(each, f"wiring-{number}") for number, each in enumerate(drawn, 1)]
