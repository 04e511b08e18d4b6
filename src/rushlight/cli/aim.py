"""The verb `aim`."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from rushlight.jobs.aim import AimResult
    from rushlight.jobs.aim_telling import AimState
    from rushlight.records.dots import Dots, Frame

_SAYS = {
    "leave": "leave it: what the plan predicts is reached where the camera stands",
    "turn": "turn the camera where it stands:",
    "move": "move the camera, and turn it:",
}


def aim(
    rig: Annotated[Path, typer.Argument(help="The rig's file, or its folder.")],
    camera: Annotated[
        str | None,
        typer.Option(
            help="Aim live with a source as run --camera takes it, or rig for the rig's own; "
            "rehearsal:SEED:askew hangs a simulated camera a little off its plan. Left out, the "
            "aim that is kept is told."
        ),
    ] = None,
    out: Annotated[Path | None, typer.Option(help="Aim to write; aim.json beside the rig.")] = None,
    places: Annotated[int, typer.Option(help="At how many places the light is held.")] = 5,
    stylus: Annotated[
        str | None, typer.Option(help="Which stylus is held; anyone's when left out.")
    ] = None,
    follow: Annotated[
        bool,
        typer.Option("--follow", help="Let a rehearsed builder do as advised until it is enough."),
    ] = False,
    footage: Annotated[
        Path | None,
        typer.Option(
            help="Instead of --camera: a film of a light held at one place after the other."
        ),
    ] = None,
    place: Annotated[
        list[str] | None,
        typer.Option(help="A place that --footage shows, once for each in their order."),
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print what is found as JSON.")] = False,
) -> None:
    """Find a camera's true place by held lights; exit code 1 when it must be turned or moved."""
    from rushlight.cli import render
    from rushlight.jobs.aim import kept_aim
    from rushlight.jobs.aim_live import aim_live

    _check_idle(camera, footage, place, follow)
    if footage is not None:
        from rushlight.jobs.aim_footage import aim_footage

        with render.progress() as progress:
            result = aim_footage(rig, footage, tuple(place or ()), out, stylus, progress)
    elif camera is None:
        result = kept_aim(rig, out)
    else:
        source = None if camera == "rig" else camera
        result = aim_live(rig, out, TextAim(), source, places=places, held=stylus, follow=follow)
    told = result.as_dict()
    if json:
        render.print_json(told)
    else:
        _show(result)
    if not told["reached"]:
        raise typer.Exit(1)


def _check_idle(
    camera: str | None, footage: Path | None, place: list[str] | None, follow: bool
) -> None:
    """Refuse what would do nothing."""
    from rushlight.errors import RushlightError

    idle = []
    if footage is None and place:
        idle.append(("--place", ", ".join(place), "tells what --footage shows", "give --footage"))
    if footage is not None and camera is not None:
        idle.append(("--camera", camera, "films anew, and --footage is filmed", "give one of them"))
    if footage is not None and follow:
        idle.append(("--follow", "", "moves a rehearsed camera, not one of a film", "leave it out"))
    for where, given, why, remedy in idle:
        raise RushlightError.of(where, given, why, remedy, "option-idle")


class TextAim:
    """Tells each place once, on standard error."""

    def __init__(self) -> None:
        self._told: tuple[int, str | None] | None = None
        self._stage = ""

    def state(self, state: AimState) -> None:
        """A line when another place is to be held."""
        if state.stage == "looking" and self._stage != "looking":
            self._say("looking at the room: keep every light off")
        self._stage = state.stage
        if (state.round, state.place) == self._told or state.place is None:
            return
        self._told = (state.round, state.place)
        self._say(f"hold the light of {state.carried} still at the surface's {state.place}")

    def seen(self, frame: Frame, dots: Dots) -> None:
        """Frames are not told."""

    def _say(self, line: str) -> None:
        print(line, file=sys.stderr, flush=True)


def step_words(step: dict[str, Any]) -> str:
    """A step in words, as ``"turn 3.1° left (± 0.2°)"``."""
    unit = step["unit"] if step["unit"] == "°" else f" {step['unit']}"
    return f"{step['kind']} {step['amount']}{unit} {step['way']} (± {step['std']}{unit})"


def _show(result: AimResult) -> None:
    from rushlight.cli import render

    told = result.as_dict()
    render.heading(f'"{told["camera"]}" aimed by {told["basis"]} lights')
    render.table(
        "",
        ("camera", "x [m]", "y [m]", "z [m]", "turn [°]", "tilt [°]", "roll [°]"),
        [
            (
                name,
                *(f"{step:.2f}" for step in told[name]["at_m"]),
                *(told[name][f"{angle}_deg"] for angle in ("turn", "tilt", "roll")),
            )
            for name in ("planned", "found")
        ],
    )
    found = told["found"]
    render.note(
        f"found to ± {found['x_std_cm']}, {found['y_std_cm']} and {found['z_std_cm']} cm; focal "
        f"length {told['focal_percent']:+} ± {told['focal_std_percent']} % off the one supposed"
    )
    render.table(
        "",
        (
            "place",
            "light",
            "held",
            "missed by [px]",
            "of full scale",
            "planned at most",
            "over noise [1]",
        ),
        [
            (
                place["name"],
                place["carried"],
                place["state"] if place["used"] or place["state"] != "held" else "held, not used",
                place["missed_px"],
                _percent(place["full_share"]),
                _percent(place["expected_share"]),
                place["over_noise"],
            )
            for place in told["places"]
            if place["state"] != "open"
        ],
    )
    light = told["light"]
    render.note(
        f"the room's light takes {_percent(light['room_share']) or 'an unknown share'} of full "
        f"scale, {_percent(light['room_planned_share'])} planned; noise "
        f"{light['room_noise'] or '–'} times that in the dark"
    )
    for corner in told["corners"]:
        if not corner["inside"]:
            render.note(f"the {corner['name']} corner is out of view")
    coverage = told["coverage"]
    render.note(
        f"coverage as the camera stands, predicted: {_percent(coverage['now'])} "
        f"({_percent(coverage['low'])} to {_percent(coverage['high'])}), "
        f"{_percent(coverage['wanted'])} is enough, {_percent(coverage['planned'])} planned"
    )
    render.findings(result.findings)
    render.note(_SAYS[told["advice"]])
    for step in told["steps"]:
        if step["told"]:
            render.note(f"  {step_words(step)}")
    if told["steps"]:
        render.note(
            f"  then {_percent(coverage['then'])} is predicted; turn, tilt and roll as seen from "
            "behind the camera, left, right, nearer and farther as you face the surface"
        )
        render.note("  on a ladder let someone hold it, and see that the camera cannot fall")
    render.note(f"kept: {told['aim']}")


def _percent(value: float | None) -> str | None:
    return None if value is None else f"{value:.0%}"
