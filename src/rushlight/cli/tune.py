"""How `run --tune` shows what it measured and chose."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rushlight.jobs.tune import TuneSummary
    from rushlight.records.tuning import TunedPoint, Tuning


def show(summary: TuneSummary) -> None:
    """Print the curve, the choice, and the lines for the rig.

    Parameters
    ----------
    summary
        From `jobs.tune.tune`.
    """
    from rushlight.cli import render

    tuning = summary.tuning
    render.heading(f"Smoothing for {tuning.session} ({tuning.basis})")
    rests, moves = (
        f"{count} {what}{'' if count == 1 else 's'} of {seconds:.1f} s in all"
        for count, what, seconds in (
            (tuning.rest_stretches, "rest", tuning.rest_s),
            (tuning.moving_stretches, "motion", tuning.moving_s),
        )
    )
    render.note(
        f"{tuning.dots} dots; {rests}, slower than {tuning.rest_below_px_s:.3g} px/s; {moves}, "
        f"faster than {tuning.moving_above_px_s:.3g} px/s, {tuning.moving_speed:.3g} "
        f"{tuning.unit}/s rms"
    )
    if tuning.map_misfit_mm is not None:
        render.note(
            f"px became mm by the plane map that fits the session's fixes best, "
            f"{tuning.map_misfit_mm:.2g} mm rms from them"
        )
    _curve(tuning)
    for rule in tuning.rules:
        render.note(rule)
    _ahead(tuning)
    render.heading("Findings")
    render.findings(tuning.findings)
    render.heading("For rig.toml")
    render.note(summary.smoothing_lines.rstrip())
    for file in summary.files:
        render.note(f"written: {file}")


def _curve(tuning: Tuning) -> None:
    """The front, the defaults and the choice; the file holds the rest."""
    from rushlight.cli import render

    numbers = [
        number
        for number, point in enumerate(tuning.points)
        if point.front or number in (tuning.now, tuning.chosen)
    ]
    numbers.sort(key=lambda number: tuning.points[number].late_ms)
    rows = []
    for number in numbers:
        point = tuning.points[number]
        marks = ("chosen",) if number == tuning.chosen else ()
        marks += ("as run, by default",) if number == tuning.now else ()
        marks += () if point.front else ("beaten by another",)
        rows.append(
            [
                ", ".join(each for each in _setting(point) if each),
                f"{point.jitter:.3g}" + _between(point.jitter_low, point.jitter_high),
                _ms(point.lag_ms) + _between(_number(point.lag_low_ms), _number(point.lag_high_ms)),
                _ms(point.late_ms),
                "; ".join(marks),
            ]
        )
    render.table(
        f"Jitter against lag: settings that nothing beats in both, of {len(tuning.points)} tried",
        ["setting", f"jitter, {tuning.unit} (95 %)", "lag, ms (95 %)", "late [ms]", ""],
        rows,
    )


def _ahead(tuning: Tuning) -> None:
    from rushlight.cli import render

    if not tuning.ahead:
        return
    render.table(
        "In motion, a while ahead of the last picture: distance from the place measured then, rms",
        ["ahead [ms]", "as last seen [mm]", "foretold [mm]", "95 % [1]", "stated [mm]",
         "places [1]"],
        [
            [f"{row.ahead_ms:g}", f"{row.held:.3g}", f"{row.foretold:.3g}",
             _span(row.foretold_low, row.foretold_high), f"{row.stated:.3g}", row.n]
            for row in tuning.ahead
        ],
    )  # fmt: skip


def _setting(point: TunedPoint) -> list[str | None]:
    numbers = (
        (point.cutoff_hz, "Hz"), (point.speed_gain, "/px"), (point.agility_px2_s3, "px²/s³")
    )  # fmt: skip
    told = [None if each is None else f"{each:g} {unit}" for each, unit in numbers]
    return [point.filter, *told]


def _between(low: float | None, high: float | None) -> str:
    span = _span(low, high)
    return "" if span is None else f" ({span})"


def _number(value: float | None) -> float | None:
    """Without the arithmetic's dust around 0."""
    return None if value is None else round(value, 2) + 0.0


def _ms(value: float) -> str:
    return f"{_number(value):.2f}"


def _span(low: float | None, high: float | None) -> str | None:
    return None if low is None or high is None else f"{low:.3g} to {high:.3g}"
