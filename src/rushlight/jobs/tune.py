"""Choose smoothing settings from recorded sessions, by jitter against lag."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rushlight.errors import RushlightError
from rushlight.jobs.progress import Progress, silent
from rushlight.keep.session import SessionReader
from rushlight.records.document import write_bytes
from rushlight.records.quantity import QuantityError, parse_quantity
from rushlight.records.tuning import TunedPoint, Tuning
from rushlight.track.ahead import ahead_rows
from rushlight.track.filter import FILTERS
from rushlight.track.recorded import (
    MOVING_S,
    REST_S,
    PlaneMap,
    RawTrail,
    Stretch,
    needed,
    noise_px,
    plane_map,
    raw_trails,
    stretches,
)
from rushlight.track.tune import (
    LAGS_S,
    Tryout,
    all_settings,
    choose,
    default_setting,
    with_front,
)
from rushlight.track.tune_words import choice_findings, recording_findings, rules

TUNE_FILE, TUNE_PICTURE = "tune.json", "tune.png"

DEFAULT_MOST_LAG = "15 ms"
"""About a frame at 60 Hz; common practice, no source."""

MOST_DOTS = 8000
"""So many dots are tried at most, so that tuning takes a minute at most on a small computer."""


@dataclass(frozen=True)
class TuneSummary:
    """A tuning, and where it was written.

    Attributes
    ----------
    tuning
        As in ``tune.json``.
    smoothing_lines
        What to write into ``rig.toml``.
    files
        Written.
    """

    tuning: Tuning
    smoothing_lines: str
    files: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """The summary as plain values, for JSON."""
        return {
            **self.tuning.model_dump(mode="json", by_alias=True),
            "smoothing_lines": self.smoothing_lines,
            "files": list(self.files),
        }


def tune(
    session_path: Path | Sequence[Path],
    out_folder: Path,
    most_lag: str | None = DEFAULT_MOST_LAG,
    progress: Progress = silent,
) -> TuneSummary:
    """Measure jitter against lag of many settings on recordings, and choose one.

    Parameters
    ----------
    session_path
        A session in which lights rest and move, or several that do together; of one rig.
    out_folder
        For ``tune.json`` and ``tune.png``.
    most_lag
        The steadiest setting within it is chosen, as ``"15 ms"``; None chooses the knee.
    progress
        Told the share of settings tried.

    Returns
    -------
    TuneSummary

    Raises
    ------
    RushlightError
        When a session cannot be read, or nothing rests or nothing moves in them.
    """
    most_lag_ms = _typed_ms(most_lag)
    paths = [session_path] if isinstance(session_path, Path) else list(session_path)
    taken = _read(paths, progress)
    found = stretches(taken.trails)
    _refuse_without(taken.names, found.rest, found.moving)
    numbers, found = needed(taken.trails, found, MOST_DOTS)
    trails = [taken.trails[number] for number in numbers]
    maps = [taken.maps[number] for number in numbers]
    planes = [plane for plane in maps if plane is not None]
    mapped = planes if len(planes) == len(trails) else None
    tryout = Tryout(trails, found, mapped)
    _refuse_without(taken.names, found.rest, tryout.pieces)
    points, beyond = _try_all(tryout, progress)
    points = with_front(points)
    chosen = choose(points, most_lag_ms)
    tuning = Tuning(
        session=", ".join(taken.names),
        basis="simulated" if "simulated" in taken.bases else "measured",
        unit="px" if mapped is None else "mm",
        map_misfit_mm=None if mapped is None else max(plane.misfit_mm for plane in mapped),
        dots=sum(len(trail.time_s) for trail in trails),
        rest_stretches=len(found.rest),
        rest_s=_seconds(trails, found.rest),
        moving_stretches=len({(each.trail, each.start) for each in found.moving}),
        moving_s=_seconds(trails, tryout.pieces),
        noise_px=noise_px(trails),
        rest_below_px_s=found.rest_below_px_s,
        moving_above_px_s=found.moving_above_px_s,
        moving_speed=tryout.speed,
        rules=rules(most_lag_ms, mapped is not None),
        most_lag_ms=most_lag_ms,
        points=points,
        chosen=chosen,
        now=_now(points, taken.filter_name),
        ahead=ahead_rows(trails, mapped, tryout.pieces) if mapped is not None else [],
        findings=[
            *recording_findings(
                ", ".join(taken.names),
                simulated="simulated" in taken.bases,
                has_intervals=None not in (points[chosen].jitter_low, points[chosen].lag_low_ms),
                mapped=mapped is not None,
                beyond=beyond,
                left_out=len(taken.trails) - len(numbers),
                most_dots=MOST_DOTS,
            ),
            *choice_findings(points[chosen], most_lag_ms),
        ],
    )
    tuning = tuning.stamped(tuning.basis, taken.inputs)
    return TuneSummary(tuning, smoothing_lines(points[chosen]), _write(tuning, out_folder))


def smoothing_lines(point: TunedPoint) -> str:
    """A setting as it stands in ``rig.toml``.

    Parameters
    ----------
    point
        The chosen one.
    """
    lines = ["[smoothing]", f'filter = "{point.filter}"']
    if point.cutoff_hz is not None:
        lines.append(f'cutoff = "{point.cutoff_hz:g} Hz"')
    if point.speed_gain is not None:
        lines.append(f"speed_gain = {point.speed_gain:g}")
    if point.agility_px2_s3 is not None:
        lines.append(f"agility = {point.agility_px2_s3:.1f}")
    return "\n".join(lines) + "\n"


@dataclass(frozen=True)
class _Taken:
    """What the sessions hold."""

    names: list[str]
    trails: list[RawTrail]
    maps: list[PlaneMap | None]
    bases: set[str]
    filter_name: str
    inputs: dict[str, str]


def _typed_ms(most_lag: str | None) -> float | None:
    if most_lag is None:
        return None
    try:
        seconds = parse_quantity(most_lag, "time").value
    except QuantityError as error:
        raise RushlightError.of(
            "--most-lag", f'"{most_lag}"', error.allowed, error.remedy, "quantity"
        ) from None
    if not seconds > 0.0:
        raise RushlightError.of(
            "--most-lag", f'"{most_lag}"', "is not above 0", f'give "{DEFAULT_MOST_LAG}" or so',
            "quantity",
        )  # fmt: skip
    return 1e3 * seconds


def _read(paths: Sequence[Path], progress: Progress) -> _Taken:
    taken = _Taken([], [], [], set(), "none", {})
    filters, rigs = set(), {}
    mapped_by: list[str | None] = []
    told: dict[str | None, PlaneMap] = {}
    for number, path in enumerate(paths):
        progress("reading the session", number / len(paths))
        with SessionReader(path) as reader:
            if reader.header.role != "session":
                raise RushlightError.of(
                    str(path), "", f"holds a {reader.header.role}, not a session",
                    "give what was recorded", "session-role",
                )  # fmt: skip
            trails = raw_trails(reader)
            taken.names.append(path.name)
            taken.trails.extend(trails)
            plane = plane_map(reader)
            taken.maps.extend([plane] * len(trails))
            mapped_by.extend([reader.header.registration] * len(trails))
            if plane is not None:
                told.setdefault(reader.header.registration, plane)
            taken.bases.add(reader.basis)
            filters.add(reader.header.filter_name)
            if reader.header.rig_name:
                rigs[path.name] = reader.header.rig_name
            if reader.header.header:
                taken.inputs[f"session {path.name}"] = reader.header.header.content_hash
    if len(set(rigs.values())) > 1:
        said = ", ".join(f"{name}: {rig}" for name, rig in rigs.items())
        raise RushlightError.of(
            "--tune", said, "belong to different rigs", "tune each rig apart", "rigs-differ"
        )
    # Lights at rest at a few places tell no map of their own; one registration is one map.
    told.pop(None, None)
    taken.maps[:] = [
        told.get(by) if plane is None else plane
        for plane, by in zip(taken.maps, mapped_by, strict=True)
    ]
    progress("reading the session", 1.0)
    (name, *others) = sorted(filters) or ["none"]
    return _Taken(
        taken.names, taken.trails, taken.maps, taken.bases, "none" if others else name, taken.inputs
    )


def _refuse_without(
    names: Sequence[str], rest: Sequence[Stretch], moving: Sequence[Stretch]
) -> None:
    """Without both kinds of stretch there is nothing to weigh."""
    remedy = (
        "record one in which a light is held still for two seconds at five places or more and is "
        "drawn about, lit, in between"
    )
    if not rest:
        raise RushlightError.of(
            ", ".join(names), "",
            f"shows no light at rest for {REST_S:g} s, so that no jitter can be measured",
            remedy, "tune-no-rest",
        )  # fmt: skip
    if not moving:
        raise RushlightError.of(
            ", ".join(names), "",
            f"shows no light that moves for {MOVING_S:g} s, {LAGS_S[-1]:g} s after it was lit or "
            "later, so that no lag can be measured", remedy, "tune-no-motion",
        )  # fmt: skip


def _try_all(tryout: Tryout, progress: Progress) -> tuple[list[TunedPoint], int]:
    """All settings whose lag is among those looked for, and how many others there were."""
    settings = all_settings()
    points = []
    for number, setting in enumerate(settings):
        progress("trying settings", number / len(settings))
        point = tryout.try_setting(setting)
        if point is not None:
            points.append(point)
    progress("trying settings", 1.0)
    return points, len(settings) - len(points)


def _now(points: Sequence[TunedPoint], filter_name: str) -> int:
    """The defaults of the filter that the session was run with."""
    known = next((name for name in FILTERS if name == filter_name), "none")
    wanted = default_setting(known)
    same = (
        number
        for number, point in enumerate(points)
        if (point.filter, point.cutoff_hz, point.speed_gain, point.agility_px2_s3)
        == (wanted.filter, wanted.cutoff_hz, wanted.speed_gain, wanted.agility_px2_s3)
    )
    return next(same, 0)


def _seconds(trails: Sequence[RawTrail], some: Sequence[Stretch]) -> float:
    return float(
        sum(
            trails[each.trail].time_s[each.end - 1] - trails[each.trail].time_s[each.start]
            for each in some
        )
    )


def _write(tuning: Tuning, folder: Path) -> tuple[str, ...]:
    from rushlight.track.tune_picture import draw_tuning  # draws: slow to import

    tuning.write(folder / TUNE_FILE)
    write_bytes(folder / TUNE_PICTURE, draw_tuning(tuning))
    return str(folder / TUNE_FILE), str(folder / TUNE_PICTURE)
