"""Footage of a rig of space, by all of its cameras, with known truth."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from rushlight.errors import RushlightError
from rushlight.jobs.load import rig_path, typed_quantity
from rushlight.jobs.progress import Progress
from rushlight.plan.space_evaluate import exposures_of
from rushlight.records.document import read_document
from rushlight.records.rig import Rig
from rushlight.records.space import ResolvedSpace
from rushlight.records.space_footage import SpaceFootage
from rushlight.records.space_plan import PlannedMark, SpacePlan
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.resolve_space import resolve_space
from rushlight.simulate import space_scripts as scripts
from rushlight.simulate.space_footage import write_space_footage
from rushlight.simulate.space_frames import space_times
from rushlight.simulate.space_scripts import SpaceScript
from rushlight.simulate.space_world import (
    ALL_SPACE_CAUSES,
    SpaceWorld,
    checked_space_causes,
    draw_space,
)

_AGAIN_OF = 4
"""One place of so many is held once more at the end, so that repeatability is seen."""


@dataclass(frozen=True)
class SpaceFilmed:
    """What was filmed of a rig of space.

    Attributes
    ----------
    header
        The sidecar.
    folder
        Where it lies, with a folder for each camera and the truth.
    frames, seconds, exposures_ms
        Of the first camera; of the script [s]; of every camera [ms].
    """

    header: SpaceFootage
    folder: Path
    frames: int
    seconds: float
    exposures_ms: dict[str, float]


def simulate_space(
    rig: Rig,
    shelf: Shelf,
    path: Path,
    script: str,
    out: Path | None,
    seed: int,
    only: Iterable[str],
    without: Iterable[str],
    plan: Path | None,
    frames_per_place: int | None,
    progress: Progress,
    places: int | None = None,
    length: str | None = None,
) -> SpaceFilmed:
    """Film a rig of space that exists on paper only, and keep the truth beside the footage.

    Parameters are those of `rushlight.jobs.simulate.simulate`.

    Raises
    ------
    RushlightError
        When an input cannot be used.
    """
    if script not in scripts.SPACE_SCRIPTS:
        raise RushlightError.of(
            "script",
            script,
            "is unknown of a rig that follows things in space",
            f"use {', '.join(scripts.SPACE_SCRIPTS)}",
            "script",
        )
    planned = None if plan is None else space_plan_of(rig, plan)
    space = with_exposures(resolve_space(rig, shelf, rig_path(path).name), planned)
    world = draw_space(space, seed, _causes(only, without))
    length_s = typed_quantity(length, "time", "--length", "s")
    _check_choices(script, planned, places, length_s)
    played = _script(world, script, planned, frames_per_place, places, length_s)
    folder = rig_path(path).parent / "simulated" / script if out is None else out
    header = write_space_footage(
        world,
        played,
        folder,
        rig_hash=rig.content_hash(),
        streams=[camera.stream for camera in rig.cameras],
        tell=lambda share: progress("simulating", share),
    )
    return SpaceFilmed(
        header=header,
        folder=folder,
        frames=len(space_times(world, played, 0)),
        seconds=played.duration_s,
        exposures_ms={
            name: world.exposure_s(index) * 1e3 for index, name in enumerate(space.camera_ids)
        },
    )


def space_plan_of(rig: Rig, path: Path) -> SpacePlan:
    """A plan in space that belongs to a rig.

    Raises
    ------
    RushlightError
        When it cannot be read or is of another rig.
    """
    planned = read_document(SpacePlan, path)
    if planned.rig != rig.content_hash():
        raise RushlightError.of(
            path.name,
            "",
            "was made from another state of the rig",
            "plan anew, and give that plan",
            "plan-of-other-rig",
        )
    return planned


def with_exposures(space: ResolvedSpace, planned: SpacePlan | None = None) -> ResolvedSpace:
    """The exposures as the plan chose them, or the rig gives them, or else as would suit it."""
    if planned is not None:
        told = [planned.exposures_s[name] for name in space.camera_ids]
        exposure_s = np.array(told, float)
    else:
        exposure_s = exposures_of(space)
    cameras = space.cameras.replace(exposure_s=exposure_s[None])
    return dataclasses.replace(space, cameras=cameras)


def _check_choices(
    script: str, planned: SpacePlan | None, places: int | None, length_s: float | None
) -> None:
    """Refuse what would do nothing in a script, and lengths of nothing."""
    swings = planned is None or planned.registration.method == "swing"
    for option, given, serves in (
        ("--places", places, script == "places"),
        ("--length", length_s, script != "places" and (script != "registration" or swings)),
    ):
        if given is not None and not serves:
            raise RushlightError.of(
                option, str(given), f'does nothing in the script "{script}"', "leave it out",
                "option-idle",
            )  # fmt: skip
    if length_s is not None and length_s <= 0.0:
        raise RushlightError.of(
            "--length", f"{length_s:g} s", "is no time", 'give a time such as "6 s"', "length"
        )


def _script(
    world: SpaceWorld,
    name: str,
    planned: SpacePlan | None,
    frames: int | None,
    places: int | None,
    length_s: float | None,
) -> SpaceScript:
    hold_s = None if frames is None else frames / world.frame_rate_hz(0)
    if name == "registration":
        return _registration(world, planned, hold_s, length_s)
    if name == "places":
        count = scripts.PLACES if places is None else places
        return scripts.places(
            world,
            count,
            scripts.PLACE_HOLD_S if hold_s is None else hold_s,
            again=count // _AGAIN_OF,
        )
    if name == "motion":
        return scripts.motion(world, scripts.MOTION_S if length_s is None else length_s)
    if name == "swing":
        return scripts.register_by_swing(
            world, scripts.SWING_S if length_s is None else length_s, name
        )
    return scripts.still(world, scripts.STILL_S if length_s is None else length_s)


def _registration(
    world: SpaceWorld, planned: SpacePlan | None, hold_s: float | None, length_s: float | None
) -> SpaceScript:
    marks: list[PlannedMark] = [] if planned is None else planned.registration.marks
    method = None if planned is None else planned.registration.method
    if planned is None and world.space.screens and world.space.kinds != ("volume",):
        raise RushlightError.of(
            "plan",
            "",
            "is needed: it says past which marks to look, or on which to hold the thing",
            "give one with --plan, made by rushlight plan",
            "plan-needed",
        )
    if method == "mounting":
        raise RushlightError.of(
            "script",
            "registration",
            "has nothing to film: this rig is registered by its measured mounting alone",
            "film another script",
            "nothing-to-film",
        )
    if marks:
        return scripts.register_by_marks(world, marks, scripts.HOLD_S if hold_s is None else hold_s)
    return scripts.register_by_swing(world, scripts.SWING_S if length_s is None else length_s)


def _causes(only: Iterable[str], without: Iterable[str]) -> frozenset[str]:
    kept, left_out = checked_space_causes(only), checked_space_causes(without)
    if kept and left_out:
        raise RushlightError.of(
            "causes",
            f"only {', '.join(sorted(kept))}, without {', '.join(sorted(left_out))}",
            "cannot be chosen both ways",
            "give --only or --without, not both",
            "causes-both",
        )
    return (kept or ALL_SPACE_CAUSES) - left_out


def space_summary(filmed: SpaceFilmed) -> dict[str, object]:
    """What was made, in a few numbers."""
    header = filmed.header
    return {
        "basis": "simulated",
        "script": header.script,
        "seed": header.header.seed if header.header else None,
        "causes": header.causes or [],
        "cameras": list(header.cameras),
        "frames": filmed.frames,
        "seconds": round(filmed.seconds, 1),
        "exposures_ms": {name: round(ms, 3) for name, ms in filmed.exposures_ms.items()},
        "marks": len(header.marks),
        "folder": str(filmed.folder),
        "truth": header.truth,
    }
