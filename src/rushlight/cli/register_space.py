"""What the verb `register` shows of a rig that follows things in space."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rushlight.errors import Finding

_HOW = {
    "looks": "looks past marks",
    "placings": "placings on marks",
    "swing": "a swung scale bar",
    "mounting": "measured mounting alone",
    "pair": "photographs of one board alone",
}


def show_space(told: dict[str, Any], findings: Sequence[Finding]) -> None:
    """The registration in words and tables."""
    from rushlight.cli import render

    basis = "" if told["method"] == "mounting" else f" ({told['basis']})"
    render.heading(f"cameras from {_HOW[told['method']]}{basis}")
    several = len(told["cameras"]) > 1
    render.table(
        "",
        ("camera", "x, y, z [m]", "± [mm]", "turned ± [°]", "focal [px]", "± [px]",
         *(("clock ahead [ms]",) if several else ())),
        [
            (
                each["camera"], _three(each["place_m"], 3), _three(each["place_std_mm"], 1),
                _three(each["turn_std_deg"], 2), each["focal_px"], each["focal_std_px"],
                *((_clock(each),) if several else ()),
            )
            for each in told["cameras"]
        ],
    )  # fmt: skip
    marks = [row for row in told["rows"] if row["mark_m"] is not None]
    telling = told["dots_tell"]
    if marks:
        pixels = ("dots off by [px]", "expected [px]") if telling else ()
        render.table(
            "",
            (f"{marks[0]['kind']} at x, y, z [m]", "dots", "frames", *pixels,
             "off by the others [mm]", "used"),
            [
                (
                    _three(row["mark_m"], 3), row["dots"], row["frames"],
                    *((row["rms_px"], row["expected_px"]) if telling else ()),
                    row["off_mm"], "yes" if row["used"] else "no: bad",
                )
                for row in marks
            ],
        )  # fmt: skip
    elif told["rows"]:
        render.note(
            f"{told['used']} moments of the swing are used, of {len(told['rows'])}; the bar's "
            "length, moment by moment and by the other moments alone, is off by "
            f"{told['length_off_mm']} mm rms"
        )
    if telling:
        render.note(
            f"dots lie {told['rms_px']} px rms from where they should, "
            f"{told['expected_rms_px']} px expected"
        )
    if told["worst_error_mm"] is not None:
        middle = told["middle_error_mm"]
        render.note(
            "error of the point that counts, predicted from the registration alone: "
            + ("" if middle is None else f"{middle} mm rms in the middle of the zone, ")
            + f"{told['worst_error_mm']} mm at its worst place"
        )
    render.findings(findings)
    render.note("vouched for:" if told["vouched"] else "NOT vouched for:")
    for reason in told["reasons"]:
        render.note(f"  {reason}")
    render.note(f"written: {told['registration']}, {told['picture']}")


def _three(values: Sequence[float], places: int) -> str:
    return ", ".join(f"{value:.{places}f}" for value in values)


def _clock(each: dict[str, Any]) -> str:
    if each["clock_std_ms"] is None:
        return f"{each['clock_ms']:g}"
    return f"{each['clock_ms']:.3f} ± {each['clock_std_ms']:.3f}"
