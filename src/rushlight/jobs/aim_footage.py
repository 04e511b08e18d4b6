"""Aim by a film: a light was held at one named place after another, and nobody asked meanwhile."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rushlight.capture.footage import Footage
from rushlight.capture.open import open_footage
from rushlight.errors import Finding, RushlightError
from rushlight.jobs.aim import AIM_FILE, AimResult
from rushlight.jobs.aim_judging import Judging
from rushlight.jobs.aim_light import held_light
from rushlight.jobs.aiming import AimGround, PlaceHeld, ground_of
from rushlight.jobs.held import check_held, dots_of
from rushlight.jobs.load import bits_of, load_rig, rig_path
from rushlight.jobs.progress import Progress, silent
from rushlight.jobs.ready_light import RoomLight
from rushlight.jobs.ready_watch import LOOK_S
from rushlight.records.dots import Dots
from rushlight.register.aim import FEWEST
from rushlight.register.holds import Hold, find_holds

BEFORE_S = 0.1
"""So long before the first light comes to rest it may be lit already [s]; no source."""


def aim_footage(
    rig_file: Path,
    footage_path: Path,
    places: Sequence[str],
    out: Path | None = None,
    held: str | None = None,
    progress: Progress = silent,
) -> AimResult:
    """Find where a camera stands by footage of lights held at named places.

    Parameters
    ----------
    rig_file
        The rig's file, or its folder.
    footage_path
        What `open_footage` reads. It should begin in the dark, so that the room's light is told.
    places
        Names of the places in the order in which they were held, three at least, none twice.
    out
        Aim to write; ``aim.json`` beside the rig when left out.
    held
        Which stylus was held; at each place one of somebody who reaches it when left out.
    progress
        Told the share of frames done.

    Raises
    ------
    RushlightError
        When an input cannot be used, there are not as many touches as places, or they tell no
        pose.
    """
    rig, shelf = load_rig(rig_file)
    footage = open_footage(footage_path, camera=rig.cameras[0].id, bits=bits_of(rig, shelf))
    ground = ground_of(rig_file, footage, held)
    _check_places(places, ground)
    seen = list(dots_of(footage, ground.resolved, 0, progress))
    holds, passed_over = find_holds(seen)
    check_held(footage.name, holds, places, "places", "--place", passed_over)
    found = {name: PlaceHeld() for name in ground.names}
    for name, hold in zip(places, holds, strict=True):
        found[name] = PlaceHeld("held", hold, held_light(_while(seen, hold), hold.px))
    room = _room(footage, seen, holds[0])
    findings = [*footage.findings, *passed_over, *([] if room.lights else [_no_dark(footage)])]
    aim, _ = Judging(ground, footage.full_scale_dn, room, found, findings).judged()
    stamped = aim.stamped(
        "simulated" if footage.simulated else "measured",
        inputs={"rig": rig.content_hash(), "footage": footage.content_hash},
    )
    path = rig_path(rig_file).parent / AIM_FILE if out is None else out
    stamped.write(path)
    return AimResult(stamped, path)


def _check_places(places: Sequence[str], ground: AimGround) -> None:
    for name in places:
        if name not in ground.names:
            raise RushlightError.of(
                "--place", f'"{name}"', "is no place of the surface",
                f"use {', '.join(ground.names)}", "aim-place",
            )  # fmt: skip
    if len(set(places)) < max(FEWEST, len(places)):
        raise RushlightError.of(
            "--place", ", ".join(places) or "nothing", f"must be {FEWEST} places at least, none "
            "of them twice",
            "give --place once for each place, in the order in which the light was held",
            "aim-places",
        )  # fmt: skip


def _while(seen: list[tuple[int, Dots]], hold: Hold) -> list[Dots]:
    """The dots of the frames in which a light was held."""
    return [dots for time_ns, dots in seen if hold.from_ns <= time_ns <= hold.until_ns]


def _room(footage: Footage, seen: list[tuple[int, Dots]], first: Hold) -> RoomLight:
    """The room before the first light."""
    room, dots_at = RoomLight(), dict(seen)
    until_ns = first.from_ns - round(BEFORE_S * 1e9)
    for frame in footage:
        if frame.capture_ns > min(until_ns, seen[0][0] + round(LOOK_S * 1e9)):
            break
        if frame.image is not None:
            room.add(frame.image, dots_at[frame.capture_ns], footage.full_scale_dn)
    return room


def _no_dark(footage: Footage) -> Finding:
    return Finding(
        "note", "aim-no-dark", footage.name, "",
        "shows a light from its first frame on, so that the room's own light is not known",
        "begin the film a second before the first light",
    )  # fmt: skip
