"""Footage of a rig with known truth."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np

from rushlight.errors import RushlightError
from rushlight.jobs.belonging import plan_of
from rushlight.jobs.load import load_rig, rig_path
from rushlight.jobs.progress import Progress, silent
from rushlight.jobs.simulate_space import SpaceFilmed, simulate_space
from rushlight.records.plan import Plan
from rushlight.records.resolved import ResolvedRig
from rushlight.records.rig import Rig
from rushlight.records.session import FootageHeader
from rushlight.shelf.compression import stream_words
from rushlight.shelf.resolve import resolve
from rushlight.shelf.resolve_space import space_kinds
from rushlight.simulate import scripts
from rushlight.simulate.cast import Cast, cast_of
from rushlight.simulate.footage import write_footage
from rushlight.simulate.scripts import Script
from rushlight.simulate.world import ALL_CAUSES, World, checked_causes, draw_world


def simulate(
    path: Path,
    script: str,
    out: Path | None = None,
    seed: int = 1,
    *,
    only: Iterable[str] = (),
    without: Iterable[str] = (),
    plan: Path | None = None,
    camera: str | None = None,
    columns: int = 9,
    rows: int = 6,
    frames_per_place: int | None = None,
    touched_by: Iterable[str] = (),
    progress: Progress = silent,
    places: int | None = None,
    length: str | None = None,
) -> tuple[FootageHeader, Path] | SpaceFilmed:
    """Film a rig that exists on paper only, and keep the truth beside the footage.

    Parameters
    ----------
    path
        The rig's file, or its folder.
    script
        registration, grid, tapping or strokes; of a rig that follows things in space,
        registration, places, motion or still.
    out
        Folder for the footage; by default ``simulated/<script>`` beside the rig.
    seed
        The same rig and seed are the same room in every script.
    only, without
        Causes of error to keep, or to leave out; all are on when neither is given.
    plan
        A plan of this rig, for its beacons, who touches them, and the exposure. Without one the
        exposure is chosen as a plan would, and beacons stand in a plain three by three.
    camera
        Id of the camera that films, the first by default.
    columns, rows
        Of the grid.
    frames_per_place
        How long a beacon or a place of the grid is held [frames].
    touched_by
        Ids of the carried things that touch the beacons; by default those that the plan says,
        or every stylus.
    progress
        Told how far it is.
    places
        How many places things in space are held at, in the script ``places``.
    length
        How long things in space are swung, move or rest, as text with unit.

    Returns
    -------
    header
        Of the footage.
    folder
        Where it lies: ``footage.avi``, ``footage.json`` and ``truth.sqlite``.

    A rig that follows things in space is filmed by all its cameras at once, and what was made is
    told by a `SpaceFilmed` instead.

    Raises
    ------
    RushlightError
        When the rig, plan, script or a choice cannot be used.
    """
    rig, shelf = load_rig(path)
    if space_kinds(rig) and ("surface" not in rig.kinds or script not in scripts.SCRIPTS):
        if camera is not None:
            raise RushlightError.of(
                "camera",
                f'"{camera}"',
                "cannot be chosen: every camera of a rig that follows things in space films",
                "leave it out",
                "camera-needless",
            )
        return simulate_space(
            rig, shelf, path, script, out, seed, only, without, plan, frames_per_place, progress,
            places, length,
        )  # fmt: skip
    for option, given in (("--places", places), ("--length", length)):
        if given is not None:
            raise RushlightError.of(
                option, str(given), "is of rigs that follow things in space", "leave it out",
                "option-idle",
            )  # fmt: skip
    if script not in scripts.SCRIPTS:
        raise RushlightError.of(
            "script", script, "is unknown", f"use {', '.join(scripts.SCRIPTS)}", "script"
        )
    causes = _causes(only, without)
    resolved = resolve(rig, shelf, rig_path(path).name)
    index = _camera_index(rig, camera)
    planned = None if plan is None else plan_of(rig, plan)
    resolved = _with_exposure(rig, resolved, planned)
    cast = cast_of(rig, resolved, index)
    world = draw_world(
        resolved,
        seed,
        causes,
        cast=cast,
        camera=index,
        registering=_registering(cast, planned, touched_by),
    )
    hold_s = None if frames_per_place is None else _hold_s(frames_per_place, world)
    played = _script(world, script, planned, (columns, rows), hold_s)
    folder = rig_path(path).parent / "simulated" / script if out is None else out
    header = write_footage(
        world,
        played,
        folder,
        rig_hash=rig.content_hash(),
        rig_name=rig.name,
        stream=rig.cameras[index].stream,
        tell=lambda share: progress("simulating", share),
    )
    return header, folder


def _script(
    world: World,
    name: str,
    planned: Plan | None,
    grid: tuple[int, int],
    hold_s: float | None,
) -> Script:
    held: dict[str, Any] = {} if hold_s is None else {"hold_s": hold_s}
    if name == "registration":
        beacons_m = None if planned is None else np.array(planned.beacons, float)
        return scripts.registration(world, beacons_m, **held)
    if name == "grid":
        return scripts.grid(world, *grid, **held)
    return scripts.tapping(world) if name == "tapping" else scripts.strokes(world)


def _causes(only: Iterable[str], without: Iterable[str]) -> frozenset[str]:
    kept, left_out = checked_causes(only), checked_causes(without)
    if kept and left_out:
        raise RushlightError.of(
            "causes",
            f"only {', '.join(sorted(kept))}, without {', '.join(sorted(left_out))}",
            "cannot be chosen both ways",
            "give --only or --without, not both",
            "causes-both",
        )
    return (kept or ALL_CAUSES) - left_out


def _registering(cast: Cast, planned: Plan | None, touched_by: Iterable[str]) -> list[int] | None:
    """Indices of the emitters that touch the beacons, None for all."""
    wanted = list(touched_by) or ([] if planned is None else planned.registering)
    for name in wanted:
        if name not in cast.carried:
            raise RushlightError.of(
                "touched by",
                f'"{name}"',
                "is no stylus of the rig",
                f"use {', '.join(dict.fromkeys(cast.carried))}",
                "stylus",
            )
    return [i for i, name in enumerate(cast.carried) if name in wanted] if wanted else None


def _camera_index(rig: Rig, camera: str | None) -> int:
    ids = [one.id for one in rig.cameras]
    if camera is None:
        return 0
    if camera not in ids:
        raise RushlightError.of(
            "camera", f'"{camera}"', "is not in the rig", f"use {', '.join(ids)}", "camera"
        )
    return ids.index(camera)


def _with_exposure(rig: Rig, resolved: ResolvedRig, planned: Plan | None) -> ResolvedRig:
    """The exposure as the rig gives it, or else the plan, or else as a plan would choose it."""
    if planned is not None:
        exposures_s = [planned.exposures_s[camera.id] for camera in rig.cameras]
        return resolved.with_exposure(np.array([exposures_s], float))
    if np.all(np.isfinite(resolved.cameras.exposure_s)):
        return resolved
    from rushlight.plan.evaluate import evaluate
    from rushlight.plan.grid import Standing

    return resolved.with_exposure(evaluate(resolved, standing=Standing.of_rig(rig)).exposure_s)


def _hold_s(frames: int, world: World) -> float:
    if frames < 1:
        raise RushlightError.of(
            "frames per place", str(frames), "is too few", "give 1 or more", "frames-per-place"
        )
    return frames / world.frame_rate_hz


def summary(header: FootageHeader, folder: Path) -> dict[str, Any]:
    """What was made, in a few numbers."""
    span_ns = header.capture_ns[-1] - header.capture_ns[0]
    return {
        "basis": "simulated",
        "script": header.script,
        "seed": header.header.seed if header.header else None,
        "causes": header.causes or [],
        "compression": stream_words(header.stream),
        "frames": len(header.capture_ns),
        "seconds": round(span_ns * 1e-9, 1),
        "exposure_ms": round(header.exposure_ns * 1e-6, 3),
        "goals": len(header.goals),
        "folder": str(folder),
        "truth": header.truth,
    }
