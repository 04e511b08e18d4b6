"""A kit of a viewpoint, body or volume rig from its documents: every file, as bytes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from rushlight.publish.build import light_rows, space_build, things_of
from rushlight.publish.kit import KitDocuments, assembled, kit_files, kit_of
from rushlight.publish.notices import basis_of
from rushlight.publish.page import PageContent, Told, rendered, shared_context
from rushlight.publish.sheet import Drawing
from rushlight.publish.space_expectations import (
    FIGURE_WORDS,
    WORDS,
    space_causes,
    space_headlines,
    space_tolerances,
)
from rushlight.publish.space_views import millimetres
from rushlight.publish.wording import significant, with_unit
from rushlight.records.document import Basis
from rushlight.records.kit import Kit, KitFile
from rushlight.records.space import ResolvedSpace
from rushlight.records.space_footage import SpaceFootage, SpaceMark
from rushlight.records.space_plan import PlannedMark, SpacePlan
from rushlight.records.space_registration import SpaceRegistration

_KINDS = {
    "viewpoint": "A camera sees lights on a cap and so tells where the wearer's eyes are; the "
    "picture on the screen is drawn for them, as through a window into a place behind it.",
    "body": "A camera sees lights on a thing that is held in the hand, and the computer finds "
    "where it is and how it is turned.",
    "volume": "Several cameras see a light from different sides, and the computer finds where it "
    "is in space.",
}


@dataclass(frozen=True, kw_only=True)
class SpaceKitSource(KitDocuments):
    """What a kit of a rig of space is made from; see `KitDocuments`."""

    plan: SpacePlan
    registration: SpaceRegistration | None = None


def build_space_kit(source: SpaceKitSource) -> tuple[Kit, dict[str, bytes]]:
    """The kit, and all its files by path.

    Parameters
    ----------
    source
        What it is made from; the same source gives the same bytes.

    Raises
    ------
    RushlightError
        When the rig cannot be resolved.
    """
    rig, plan = source.rig, source.plan
    build = space_build(rig, source.shelf, plan)
    space, drawings = build.space, build.drawings
    every = _files(source, drawings)
    kit = kit_of(source, build, space_tolerances(rig, plan, space), _untried(space))
    content = PageContent(
        kit=kit,
        plan=plan,
        assessment=source.assessment,
        bought=build.bought,
        drawings=drawings,
        pictures=[
            (name, each.content, each.shows, each.basis) for name, each in source.pictures.items()
        ],
        basis=basis_of(source.assessment),
        dated=source.newest,
    )
    return assembled(source, kit, every, lambda listed: _page(content, space, source, listed))


def _page(
    content: PageContent,
    space: ResolvedSpace,
    source: SpaceKitSource,
    listed: list[KitFile],
) -> bytes:
    kit, plan = content.kit.model_copy(update={"files": listed}), source.plan
    told = Told(
        space_headlines(kit.rig, plan, space, source.assessment),
        space_causes(plan, space, source.assessment),
        WORDS,
        FIGURE_WORDS,
    )
    own = {
        "kit": kit,
        "what": [_KINDS[kind] for kind in space.kinds],
        "things": [
            (thing.id, thing.kind, light_rows(thing), content.drawn(f"thing-{thing.id}-"))
            for thing in things_of(space)
        ],
        "rooms": content.drawn("view-"),
        "marks": [_mark_row(number, mark) for number, mark in enumerate(_marks(plan), 1)],
        "looks": plan.registration.method == "looks",
        "cameras": [
            (
                doubt.camera,
                f"{millimetres(doubt.place_before_m)} and {_degrees(doubt.turn_before_rad)}",
                f"{millimetres(doubt.place_after_m)} and {_degrees(doubt.turn_after_rad)}",
            )
            for doubt in plan.registration.cameras
        ],
        "registered": _registered(source.registration),
    }
    return rendered("kit_space.jinja", {**shared_context(content, told), **own})


def _marks(plan: SpacePlan) -> list[PlannedMark]:
    return plan.registration.marks


def _mark_row(number: int, mark: PlannedMark) -> tuple[int, str, str]:
    near, far = (
        "" if place is None else ", ".join(millimetres(step) for step in place)
        for place in (mark.from_m, mark.to_m)
    )
    return number, near, far


def _degrees(angle_rad: float) -> str:
    return with_unit(significant(angle_rad * 57.29577951308232, 2), "deg")


def _registered(registration: SpaceRegistration | None) -> dict[str, Any] | None:
    if registration is None:
        return None
    verdict = registration.verdict
    return {
        "basis": registration.header.basis if registration.header else "typical",
        "rows": sum(row.used for row in registration.rows),
        "missed": ""
        if registration.rms_px is None
        else with_unit(significant(registration.rms_px), "px"),
        "expected": ""
        if registration.expected_px is None
        else with_unit(significant(registration.expected_px), "px"),
        "vouched": verdict.vouched,
        "reasons": verdict.reasons,
        "lengths": [
            f"{' to '.join(each.lights)} of {each.carried}: told {millimetres(each.told_m)}, found "
            f"{millimetres(each.found_m)} ± {millimetres(each.std_m)}"
            for each in registration.lengths
        ],
    }


def _untried(space: ResolvedSpace) -> list[str]:
    """What was not tried on hardware, by kind."""
    lines = [
        "Following things in space was tried on simulated pictures alone: on no camera, no lights "
        "and no person."
    ]
    if "viewpoint" in space.kinds:
        lines.append(
            "Whether people see depth in the picture, and how many feel unwell, was not tried; "
            "with two open eyes the picture is right for neither."
        )
    return lines


def _files(
    source: SpaceKitSource, drawings: Mapping[str, Drawing]
) -> dict[str, tuple[bytes, str, Basis]]:
    """Path to content, role and basis, of everything but page, kit and manifest."""
    files = kit_files(source, drawings)
    sheet = _film_sheet(source).json_text() + "\n"
    files["data/space.json"] = (
        sheet.encode(), "what to lay beside the films of a registration, its times to be filled in",
        source.rig.basis,
    )  # fmt: skip
    return files


def _film_sheet(source: SpaceKitSource) -> SpaceFootage:
    """The marks of the plan with times of zero, for whoever films a registration."""
    return SpaceFootage(
        schema="rushlight/space-footage",
        cameras=[camera.id for camera in source.rig.cameras],
        marks=[
            SpaceMark(
                carried=mark.carried, point=mark.point, kind=mark.kind, from_m=mark.from_m,
                to_m=mark.to_m, from_ns=0, until_ns=0,
            )
            for mark in _marks(source.plan)
        ],
        simulated=False,
    )  # fmt: skip
