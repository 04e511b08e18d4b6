"""What a kit of a viewpoint, body or volume rig is made from."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from rushlight.jobs.plan_space import planned_space
from rushlight.jobs.progress import Progress
from rushlight.publish.kit import Picture, basis_of_document
from rushlight.records.assessment import Assessment
from rushlight.records.rig import Rig
from rushlight.records.scene import SCENE_FILE
from rushlight.records.space_plan import SpacePlan
from rushlight.records.space_registration import SpaceRegistration
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.resolve_space import resolve_space

_ZONE_MAP = "zone-map.svg"


def planned_in_space(rig: Path, progress: Progress) -> tuple[SpacePlan, dict[str, Picture]]:
    """A plan made now, and the picture of its zone."""
    from rushlight.plan.look import svg_of
    from rushlight.plan.space_pictures import zone_picture

    planned = planned_space(rig, progress)
    plan = planned.plan.stamped("predicted", inputs={"rig": planned.plan.rig})
    return plan, {_ZONE_MAP: _zone(svg_of(zone_picture(planned)))}


def zone_beside(plan: Path) -> dict[str, Picture]:
    """The picture of the zone that was written with a plan; none where it was not kept."""
    file = plan.with_name(_ZONE_MAP)
    return {_ZONE_MAP: _zone(file.read_bytes())} if file.is_file() else {}


def _zone(content: bytes) -> Picture:
    return Picture(content, "cameras, screens and zones, with the predicted error", "predicted")


def scene_beside(folder: Path) -> dict[str, bytes]:
    """What the picture shows, where the rig has a scene."""
    file = folder / SCENE_FILE
    return {SCENE_FILE: file.read_bytes()} if file.is_file() else {}


def space_pictures(
    rig: Rig,
    shelf: Shelf,
    plan: SpacePlan,
    zone: Mapping[str, Picture],
    assessment: Assessment | None,
    registration: SpaceRegistration | None,
) -> dict[str, Picture]:
    """Pictures drawn from the documents' own numbers, so that they cannot disagree with them."""
    # Drawing libraries are slow to import.
    from rushlight.plan.look import svg_of
    from rushlight.plan.pictures import delay_bars
    from rushlight.plan.space_pictures import baseline_curve, cause_bars

    drawn: dict[str, tuple[Any, str]] = {
        "predicted-error-causes.svg": (cause_bars, "predicted errors by cause, the largest first"),
        "predicted-delay.svg": (delay_bars, "predicted delay, stage by stage"),
    }
    if len(plan.baselines) > 1:
        drawn["predicted-baseline.svg"] = (
            baseline_curve, "predicted error against the distance between two cameras"
        )  # fmt: skip
    pictures = {f"predicted-{name}": each for name, each in zone.items()}
    pictures |= {
        name: Picture(svg_of(draw(plan)), shows, "predicted")
        for name, (draw, shows) in drawn.items()
    }
    if assessment is not None:
        from rushlight.assess.pictures import pictures_of

        pictures |= {
            f"{assessment.basis}-{name}": Picture(
                text.encode(), f"{name.removesuffix('.svg').replace('-', ' ')}, "
                f"{assessment.basis}", assessment.basis,
            )
            for name, text in pictures_of(assessment).items()
        }  # fmt: skip
    if registration is not None:
        from rushlight.register.space_picture import picture

        basis = basis_of_document(registration)
        pictures[f"{basis}-registration.svg"] = Picture(
            picture(resolve_space(rig, shelf), registration, basis == "simulated"),
            "where the cameras were found, with their doubt",
            basis,
        )
    return pictures
