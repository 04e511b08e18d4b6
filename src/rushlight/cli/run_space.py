"""What a run through the footage of a rig of space found."""

from __future__ import annotations

from rushlight.cli import render
from rushlight.jobs.run_space import SpaceRunSummary


def show(summary: SpaceRunSummary, json: bool) -> None:
    """Print it, as a table or as JSON."""
    if json:
        render.print_json(summary.as_dict())
        return
    seen = "frames, as they came," if summary.live else "footage"
    render.heading(f"session from {summary.basis} {seen} of {len(summary.cameras)} camera(s)")
    doubts = ", ".join(f"{reason} {count}" for reason, count in summary.doubts.items())
    rows: list[tuple[str, object, str]] = [
        ("frames", summary.frames, ", ".join(summary.cameras)),
        ("moments", summary.moments, "of the first camera"),
        ("dots", summary.dots, ""),
        ("doubtful dots", summary.doubtful_dots, doubts),
    ]
    for thing in summary.carried:
        rows += [
            (f"fixes of {thing}", summary.fixes[thing], ""),
            (f"coasted of {thing}", summary.coasted[thing], "too few lights were seen"),
        ]
        if summary.doubted[thing]:
            most = f"at most {summary.second[thing]:.0%} likely beside the one taken"
            rows.append((f"of {thing} with another pose or name", summary.doubted[thing], most))
    rows += [
        ("lost from sight", summary.lost, ""),
        ("length", _with_unit(summary.footage_s, "s"), ""),
        *(
            _live_rows(summary)
            if summary.live
            else [("speed", _with_unit(summary.frames_per_s, "frames/s"), "storage included")]
        ),
        ("frame to dots", _with_unit(summary.detect_ms, "ms"), "median of the computing"),
        ("dots to fixes", _with_unit(summary.map_ms, "ms"), "median of the computing"),
    ]
    render.table("", ["what", "how many", "remark"], rows)
    if summary.delays:
        from rushlight.cli.live import show_delays

        show_delays(summary.delays)
    render.findings(summary.findings)
    render.note(f"written: {', '.join([summary.session, *summary.exports])}")


def _live_rows(summary: SpaceRunSummary) -> list[tuple[str, object, str]]:
    rates = [
        (f"rate of {camera}", _with_unit(rate_hz, "frames/s"), "of the source")
        for camera, rate_hz in summary.rates_hz.items()
    ]
    sent = [
        (f"sent by {name}", count, f"messages; {lost} overtaken by newer ones")
        for name, count, lost in summary.outputs
    ]
    return [
        ("dropped frames", summary.dropped, "newer ones came first"),
        ("late frames", summary.late, "after the others' moments had gone"),
        ("reconnects", summary.reconnects, ""),
        *rates,
        *sent,
    ]


def _with_unit(value: float | None, unit: str) -> str | None:
    return None if value is None else f"{value:.3g} {unit}"
