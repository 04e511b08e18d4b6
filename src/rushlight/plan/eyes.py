"""How near the light of everything that shines comes to published limits for the eye.

Estimates only, on the axis, with fresh cells, caps left off (they may come off) and faces taken
as bare chips: all of these err high. A factor of two either way is ordinary all the same.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from rushlight.physics.eye_bands import band_of, band_words
from rushlight.physics.eye_groups import grid_places, looks, ring_places, worst_group
from rushlight.physics.safety import (
    ASSESSMENT_DISTANCE_M,
    cornea_irradiance,
    cornea_limit,
    retina_limit_weak_stimulus,
)
from rushlight.records.circuit import PlanCircuit
from rushlight.records.rig import Carried, CarriedEmitter, Place, Rig
from rushlight.records.safety import EyeLine
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.circuits import Branch, Supplied, circuits_of_rig
from rushlight.shelf.people import nearest_eye_m, shoulder_breadth_m, standing_middle_m
from rushlight.shelf.resolve import holder

Array = NDArray[Any]

NEAREST_M = 0.05
"""Nearest distance at which the estimate is made (a choice of ours: below it the inverse-square
law fails for lensed parts)."""
CHIP_M = 0.3e-3
"""Width of the emitting chip (typical, from memory), taken where the part's own face is wider:
for the retina a small source counts as the worse one."""
GRADED = "at 200 mm, where lamps are graded"
LONG = "long stay"

_SOURCES = {
    "cornea": "limit of Directive 2006/25/EC, Annex I, table 1.1 and IEC/EN 62471",
    "lens": "one limit guards cornea and lens alike (Directive 2006/25/EC, IEC/EN 62471)",
    "retina": "limit for a weak visual stimulus, IEC/EN 62471, second-hand; worst grouping",
}
_ASSUMED = "on the axis, bare, fresh cells; an estimate, no assessment; in part from memory"


@dataclass(frozen=True)
class Source:
    """An array of diodes that shines at an eye.

    Attributes
    ----------
    light
        What it is called.
    places_m
        (N, 2) across its axis [m].
    peak_w_sr
        (N,) while lit [W/sr].
    duty
        Share of a long stay for which it is lit [1].
    pulse_s
        Length of a pulse [s]; NaN where it is lit without pause or nobody said.
    wavelength_m
        The shortest, which counts most [m].
    face_m
        Width of one face [m].
    """

    light: str
    places_m: Array
    peak_w_sr: Array
    duty: float
    pulse_s: float
    wavelength_m: float
    face_m: float

    @property
    def in_pulses(self) -> bool:
        """Whether short looks are to be judged by themselves."""
        return self.duty < 1.0


def eye_lines(rig: Rig, shelf: Shelf, circuits: Sequence[PlanCircuit]) -> list[EyeLine]:
    """Estimates for every light, at 200 mm and at the nearest that an eye comes in use.

    Parameters
    ----------
    rig, shelf
        The rig and its parts.
    circuits
        As `plan_circuits` tells them, in the same order.
    """
    lit = [each for each in circuits_of_rig(rig, shelf) if each.branches]
    lines = []
    for supplied, circuit in zip(lit, circuits, strict=True):
        source = _source(rig, supplied, circuit)
        near = _nearest_m(rig, supplied)
        for where, distance in (
            (GRADED, ASSESSMENT_DISTANCE_M),
            (f"at {near:.2f} m, nearest in use", near),
        ):
            for look, seconds in _looks(source):
                lines += list(_judged(source, where, distance, look, seconds))
    return lines


def _looks(source: Source) -> list[tuple[str, float]]:
    if not source.in_pulses:
        return [(LONG, looks(math.nan, 1.0)[LONG])]
    found = looks(0.0 if math.isnan(source.pulse_s) else source.pulse_s, source.duty)
    return [(look, seconds) for look, seconds in found.items() if seconds > 0.0]


def _judged(
    source: Source, where: str, distance_m: float, look: str, seconds: float
) -> Iterator[EyeLine]:
    """One line each for cornea, lens and retina."""
    steady = source.duty if look == LONG else 1.0
    intensity = steady * source.peak_w_sr
    front = float(cornea_irradiance(intensity.sum(), distance_m))
    front_limit = float(cornea_limit(seconds))
    group = worst_group(
        source.places_m, intensity, source.face_m, source.wavelength_m, distance_m, seconds
    )
    back_limit = float(retina_limit_weak_stimulus(group.alpha_rad, seconds))
    count = len(source.places_m)
    rows: list[tuple[Literal["cornea", "lens", "retina"], float, float, str, int]] = [
        ("cornea", front, front_limit, "W/m²", count),
        ("lens", front, front_limit, "W/m²", count),
        ("retina", group.radiance, back_limit, "W/(m² sr)", group.emitters),
    ]
    for eye, value, limit, unit, diodes in rows:
        ratio = value / limit
        yield EyeLine(
            light=source.light,
            where=where,
            distance_m=distance_m,
            look=look,
            eye=eye,
            value=_known(value),
            limit=_known(limit),
            unit=unit,
            ratio=_known(ratio),
            diodes=diodes,
            band=str(band_of(ratio)),
            words=band_words(ratio),
            method=f"{_SOURCES[eye]}; {_ASSUMED}",
        )


def _source(rig: Rig, supplied: Supplied, circuit: PlanCircuit) -> Source:
    places, peaks = [], []
    for branch, plan in zip(supplied.branches, circuit.branches, strict=True):
        current = branch.current_a if plan.fresh_a is None else plan.fresh_a
        own = _places(rig, supplied, branch)
        places.append(own)
        peak = branch.part.intensity.si * current / branch.part.test_current.si
        peaks.append(np.full(len(own), peak))
    parts = [branch.part for branch in supplied.branches]
    pulses = [branch.pulse_s for branch in supplied.branches]
    return Source(
        light={"carried": "", "illuminator": "illuminator of ", "anchor": "anchor "}[supplied.kind]
        + supplied.name,
        places_m=np.concatenate(places),
        peak_w_sr=np.concatenate(peaks),
        duty=max(1.0 if math.isnan(b.lasting_duty) else b.lasting_duty for b in supplied.branches),
        pulse_s=max(pulses) if not any(map(math.isnan, pulses)) else math.nan,
        wavelength_m=min(part.wavelength.si for part in parts),
        face_m=min(CHIP_M, *(part.apparent_size.si for part in parts)),
    )


def _places(rig: Rig, supplied: Supplied, branch: Branch) -> Array:
    """Where (N, 2) the diodes of a light stand across its axis [m]: side by side, or on a ring."""
    if supplied.kind == "illuminator":
        camera = next(each for each in rig.cameras if each.id == supplied.name)
        lights = camera.illuminator
        radius = lights.ring_radius.value if lights else 0.0
        return ring_places(branch.wiring.diodes, radius)
    pitch = branch.part.apparent_size.si
    own = grid_places(branch.wiring.in_series, branch.wiring.strings, pitch)
    if supplied.kind == "carried":
        thing = next(each for each in rig.carried if each.id == supplied.name)
        light = next(each for each in thing.emitters if each.id == branch.light)
        own = own + _place_m(light)[:2]
    return own


def _place_m(light: CarriedEmitter) -> Array:
    """Of a light in its thing's own frame (3,) [m]."""
    if light.position is not None:
        return np.array([step.value for step in light.position])
    distance = light.distance_from_tip
    return np.array([0.0, 0.0, distance.value if distance else 0.0])


def _nearest_m(rig: Rig, supplied: Supplied) -> float:
    """Nearest that anyone's eye comes to a light in use [m], `NEAREST_M` at least."""
    if supplied.kind == "carried":
        thing = next(each for each in rig.carried if each.id == supplied.name)
        return max(_nearest_to_carried_m(rig, thing), NEAREST_M)
    place: Place
    if supplied.kind == "illuminator":
        place = next(each for each in rig.cameras if each.id == supplied.name).position
    else:
        place = next(each for each in rig.anchors if each.id == supplied.name).position
    return max(_nearest_to_place_m(rig, np.array([step.value for step in place])), NEAREST_M)


def _nearest_to_place_m(rig: Rig, place_m: Array) -> float:
    floor = rig.surfaces[0].height_above_floor.value if rig.surfaces else 0.0
    near = [nearest_eye_m(person, place_m, floor) for person in rig.people]
    return min(near, default=ASSESSMENT_DISTANCE_M)


def _nearest_to_carried_m(rig: Rig, thing: Carried) -> float:
    """A worn light is as far from its wearer's own eye as the rig says; a stylus at arm's length
    from its holder, who stands with their body before the surface."""
    eyes = [point.position for point in thing.points if point.name == "eye"]
    if eyes:
        eye = np.array([step.value for step in eyes[0]])
        gaps = [np.linalg.norm(_place_m(light) - eye) for light in thing.emitters]
        return float(min(gaps))
    if thing.kind != "stylus" or not rig.people:
        return ASSESSMENT_DISTANCE_M
    person = holder(rig, thing)
    return float(standing_middle_m(person)[1] - shoulder_breadth_m(person) / 2.0)


def _known(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None
