"""The room as figures: its light by hour, the shadow on the picture, reading distance."""

from __future__ import annotations

from typing import Any

from rushlight.records.figure import Figure, Scope
from rushlight.records.plan_room import PlanAmbient, PlanBeam, PlanReading, PlanRoom

PLANNED = "as planned"
NO_SUN = "from windows and lamps, without the sun"
SUN = "while the sun does worst"
"""Conditions of the figures."""

_SUNLIGHT = (
    "ASTM G173-03 through the glazing and the camera's band; glazing, ground and walls from "
    "memory or by choice: an estimate"
)


def room_figures(room: PlanRoom, rig: str) -> list[Figure]:
    """What the room does, as far as the rig says enough to tell."""
    return [
        *(_ambient(room.ambient, rig) if room.ambient else []),
        *(_beam(room.beam, rig) if room.beam else []),
        *(_reading(room.reading, rig) if room.reading else []),
    ]


def _figure(
    name: Any, statistic: Any, rig: str, condition: str | None, value: float, unit: str, how: str
) -> Figure:
    return Figure(
        name=name,
        statistic=statistic,
        scope=Scope(rig=rig, condition=condition),
        value=value,
        unit=unit,
        n=1,
        method=how,
        basis="predicted",
    )


def _ambient(ambient: PlanAmbient, rig: str) -> list[Figure]:
    used = "as the rig gives it" if ambient.used == "given" else _SUNLIGHT
    figures = [
        _figure("ambient", "mean", rig, PLANNED, ambient.used_w_m2, "W/m²", used),
        _figure("ambient", "mean", rig, NO_SUN, ambient.estimated_w_m2, "W/m²", _SUNLIGHT),
    ]
    if ambient.sun_coverage is not None:
        figures += [
            _figure("ambient", "mean", rig, SUN, ambient.sun_w_m2, "W/m²", _SUNLIGHT),
            _figure("ambient", "max", rig, SUN, ambient.sun_greatest_w_m2, "W/m²", _SUNLIGHT),
            _figure(
                "coverage",
                "share",
                rig,
                SUN,
                100.0 * ambient.sun_coverage,
                "%",
                "exposure and beacons kept as planned",
            ),
        ]
    return figures


def _beam(beam: PlanBeam, rig: str) -> list[Figure]:
    how = "sharp shadows of the toucher's trunk, head, arm and hand in equally likely scenes"
    picture, place = "of the picture", "the touched place itself"
    return [
        _figure("projector-shadow", statistic, rig, which, 100.0 * value, "%", how)
        for which, statistic, value in (
            (picture, "mean", beam.picture_mean),
            (picture, "max", beam.picture_max),
            (place, "mean", beam.touched_mean),
            (place, "max", beam.touched_max),
        )
    ]


def _reading(reading: PlanReading, rig: str) -> list[Figure]:
    if reading.farthest_m is None:
        return []
    how = "AVIXA V202.01:2016 (DISCAS): 200 times the height of the writing"
    return [_figure("reading-distance", "max", rig, None, reading.farthest_m, "m", how)]
