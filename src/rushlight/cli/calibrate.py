"""The verb `calibrate`."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from rushlight.jobs.calibrate import CalibrateResult
    from rushlight.register.lens_views import Board


class PaperName(StrEnum):
    """Papers that the target is drawn for."""

    a4 = "a4"
    letter = "letter"


def calibrate(
    target: Annotated[
        Path | None, typer.Option(help="Write a target to print, .pdf or .svg, and do no more.")
    ] = None,
    paper: Annotated[PaperName, typer.Option(help="Paper of the target.")] = PaperName.a4,
    pictures: Annotated[
        Path | None, typer.Option(help="Folder of photographs of the target, or footage of it.")
    ] = None,
    beside: Annotated[
        Path | None,
        typer.Option(
            help="Photographs that a second camera took at the same moments: how both stand."
        ),
    ] = None,
    live: Annotated[
        str | None,
        typer.Option(
            help="Take views from a running camera, as run --camera does; or rig, for its own."
        ),
    ] = None,
    length: Annotated[
        str | None, typer.Option("--for", help='When to stop looking live, as "90 s".')
    ] = None,
    rig: Annotated[Path | None, typer.Option(help="The rig's file, or its folder.")] = None,
    camera: Annotated[
        str | None, typer.Option(help="Whose lens it is; needed where a rig has several cameras.")
    ] = None,
    other_camera: Annotated[
        str | None, typer.Option(help="Which camera took the photographs of --beside.")
    ] = None,
    check_line: Annotated[
        str | None, typer.Option(help='Measured check line along the long side, as "99.2 mm".')
    ] = None,
    check_line_up: Annotated[
        str | None, typer.Option(help="Measured check line along the short side.")
    ] = None,
    not_to_scale: Annotated[
        bool, typer.Option("--not-to-scale", help="Go on without measuring the print.")
    ] = False,
    corners: Annotated[
        str | None, typer.Option(help='Inner corners of a board of your own, as "9x6".')
    ] = None,
    square: Annotated[
        str | None, typer.Option(help='Measured squares of a board of your own, as "30 mm".')
    ] = None,
    window: Annotated[
        int | None, typer.Option(help="Half-window of the corners in pixels; by fit if left out.")
    ] = None,
    leave_out: Annotated[
        list[str] | None, typer.Option(help="A picture not to use; may be given repeatedly.")
    ] = None,
    out: Annotated[
        Path | None, typer.Option(help="Calibration to write: lens.json, or pair.json of two.")
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print what is found as JSON.")] = False,
) -> None:
    """Find a camera's lens by views of a printed chessboard; exit code 1 when not vouched for."""
    from rushlight.cli import render
    from rushlight.errors import RushlightError
    from rushlight.jobs.calibrate import calibrate as job
    from rushlight.jobs.calibrate_live import calibrate_live
    from rushlight.jobs.lens_target import board_of, write_target

    views = {"--window": window, "--leave-out": leave_out}
    if target is not None:
        given = {"--pictures": pictures, "--live": live, "--rig": rig, "--camera": camera}
        board_told = {"--check-line": check_line, "--corners": corners, "--square": square}
        _refuse_idle("--target", given | board_told | views | {"--for": length})
    elif live is not None:
        _refuse_idle("--live", views)
    elif pictures is not None:
        _refuse_idle("--pictures", {"--for": length})
    if target is not None:
        written = write_target(target, paper.value).as_dict()
        if json:
            render.print_json(written)
        else:
            _show_target(written)
        return
    if (pictures is None) == (live is None):
        raise RushlightError.of(
            "calibrate",
            "",
            "needs one of --target, --pictures and --live",
            "give one of them",
            "option-missing",
        )
    board = board_of(check_line, check_line_up, not_to_scale, corners, square)
    if beside is not None and pictures is not None:
        _refuse_idle("--beside", {"--leave-out": leave_out})
        _pair(pictures, beside, board, out, (camera, other_camera), rig, window, json)
        return
    _refuse_idle("one camera", {"--beside": beside, "--other-camera": other_camera})
    out = out or Path("lens.json")
    if live is not None:
        source = None if live == "rig" else live
        result = calibrate_live(source, board, out, camera, rig, length, say=render.aside)
        _finish(result, json)
        return
    with render.progress() as progress:
        result = job(pictures, board, out, camera, rig, window, leave_out or (), progress)
    _finish(result, json)


def _pair(
    pictures: Path,
    beside: Path,
    board: Board,
    out: Path | None,
    cameras: tuple[str | None, str | None],
    rig: Path | None,
    window: int | None,
    json: bool,
) -> None:
    from rushlight.cli import render
    from rushlight.jobs.calibrate_pair import calibrate_pair

    with render.progress() as progress:
        result = calibrate_pair(
            pictures, beside, board, out or Path("pair.json"), cameras, rig, window, progress
        )
    told = result.as_dict()
    if json:
        render.print_json(told)
    else:
        _show_pair(told)
        render.findings(result.findings)
        render.note("vouched for:" if told["vouched"] else "NOT vouched for:")
        for reason in told["reasons"]:
            render.note(f"  {reason}")
        render.note(f"written: {told['pair']}, {', '.join(told['lenses'])}")
    if not told["vouched"]:
        raise typer.Exit(1)


def _show_pair(told: dict[str, Any]) -> None:
    from rushlight.cli import render

    render.heading(f"two cameras from {told['basis']} views of one board")
    render.table(
        "",
        ("pictures", "used", "misses [px]", "beside [px]"),
        [
            (
                " ".join(Path(name).stem for name in view["names"]),
                "yes" if view["used"] else "no", *view["rms_px"],
            )
            for view in told["views"]
        ],
    )  # fmt: skip
    render.table(
        "",
        ("camera", "fx, fy [px]", "± [px]", "cx, cy [px]", "± [px]"),
        [
            (
                each["camera"],
                *(
                    ", ".join(map(str, each[key]))
                    for key in ("f_px", "f_std_px", "c_px", "c_std_px")
                ),
            )
            for each in told["cameras"]
        ],
    )
    render.note(
        f"the cameras stand {told['distance_mm']:.2f} ± {told['distance_std_mm']:.2f} mm apart"
    )


def _refuse_idle(mode: str, others: dict[str, object]) -> None:
    """Refuse what would be passed over in silence."""
    from rushlight.errors import RushlightError

    for name, value in others.items():
        if value is not None:
            raise RushlightError.of(
                name, "", f"does nothing with {mode}", "leave it out", "option-idle"
            )


def _finish(result: CalibrateResult, json: bool) -> None:
    from rushlight.cli import render

    told = result.as_dict()
    if json:
        render.print_json(told)
    else:
        _show(told)
        render.findings(result.findings)
        _show_end(told)
    if not told["vouched"]:
        raise typer.Exit(1)


def _show_target(told: dict[str, Any]) -> None:
    from rushlight.cli import render

    render.note(f"written: {told['target']}, to print at 100 % on {told['paper']}")
    render.note(
        "Look at the print through your camera first: many inks vanish in the infrared. Measure "
        f"both check lines; each should be {told['check_line_mm']:g} mm long."
    )


def _show(told: dict[str, Any]) -> None:
    from rushlight.cli import render

    render.heading(f"lens of {told['camera']} from {told['basis']} views")
    render.table(
        "",
        ("view", "used", "misses [px]", "held out [px]", "tilt [°]", "range [m]", "area [%]",
         "blur [px]"),
        [
            (
                Path(view["name"]).stem, "yes" if view["used"] else "no", view["rms_px"],
                view["held_out_rms_px"], view["tilt_deg"], view["range_m"],
                view["share_percent"], view["edge_px"],
            )
            for view in told["views"]
        ],
    )  # fmt: skip
    render.table(
        "",
        ("parameter", "value [px or 1]", "± one standard deviation [px or 1]"),
        [(each["name"], each["value"], each["std"]) for each in told["parameters"]],
    )
    render.note(
        f"rays doubtful by {_px(told['doubt_seen_px'])} rms where corners were seen "
        f"({told['covered_percent']} % of the picture), by {_px(told['doubt_worst_px'])} at the "
        "worst place"
    )


def _show_end(told: dict[str, Any]) -> None:
    from rushlight.cli import render

    if told["next"]:
        render.note(
            f"most would be gained by one more view: {told['next']} (doubt over the whole picture "
            f"from {_px(told['doubt_now_px'])} to {_px(told['next_doubt_px'])})"
        )
    render.note("vouched for:" if told["vouched"] else "NOT vouched for:")
    for reason in told["reasons"]:
        render.note(f"  {reason}")
    render.note(f"written: {told['lens']}, {told['picture']}")
    if told["vouched"]:
        render.note(f'to use it: lens = "{Path(told["lens"]).name}" beside the camera in rig.toml')


def _px(value: float | None) -> str:
    return "an unknown amount" if value is None else f"{value:g} px"
