"""What someone would see who looked into the projector's lens: estimates, for everyone there."""

from __future__ import annotations

import math

import numpy as np

from rushlight.errors import Finding
from rushlight.physics.eye_bands import band_of, band_words
from rushlight.physics.projector_light import (
    BLUE_DOSE_J_M2_SR,
    GLANCE_S,
    beam_solid_angle,
    blue_radiance,
    blue_time_limit,
    lens_luminance,
)
from rushlight.plan.beam import lens_place, throw_of_part
from rushlight.records.rig import Rig
from rushlight.records.safety import BeamLine
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.people import nearest_eye_m


def beam_lines(rig: Rig, shelf: Shelf) -> list[BeamLine]:
    """Estimates for every person before the first surface's projector.

    Where the rig does not say where the projector is, its lens is taken straight before the
    surface's upper edge, as far off as its throw ratio says. None where there is no projector, or
    the shelf does not tell its light.
    """
    if not rig.surfaces or rig.surfaces[0].display is None:
        return []
    surface = rig.surfaces[0]
    part = shelf.display(surface.display or "")
    throw = throw_of_part(rig, shelf)
    if part.technology != "projector" or part.luminous_flux is None or part.lens_diameter is None:
        return []
    width, height = surface.width.value, surface.height.value
    lens = lens_place(surface)
    if lens is None:
        if throw is None:
            return []
        lens = np.array([width / 2.0, height, throw])
    if lens[2] <= 0.0:
        return []
    diameter = part.lens_diameter.si
    angle = beam_solid_angle(width, height, float(lens[2]))
    luminance = float(lens_luminance(part.luminous_flux.si, angle, diameter))
    lines = []
    for person in rig.people:
        distance = max(nearest_eye_m(person, lens, surface.height_above_floor.value), diameter)
        blue = float(blue_radiance(luminance, diameter, distance))
        ratio = blue * GLANCE_S / BLUE_DOSE_J_M2_SR
        limit = float(blue_time_limit(blue))
        lines.append(
            BeamLine(
                surface=surface.id,
                person=person.id,
                child=person.age is not None,
                distance_m=distance,
                luminance_cd_m2=luminance,
                blue_w_m2_sr=blue,
                time_limit_s=limit if math.isfinite(limit) else None,
                ratio=ratio,
                band=str(band_of(ratio)),
                words=band_words(ratio),
            )
        )
    return lines


def beam_findings(lines: list[BeamLine], file: str) -> list[Finding]:
    """A warning where a child's eyes come before the lens, and where even a glance is too much."""
    found = []
    for line in lines:
        too_much = line.ratio > 1.0
        if not (line.child or too_much):
            continue
        told = "" if line.time_limit_s is None else (
            f", so that {line.time_limit_s:.2g} s of looking into it in all reach the published "
            "dose for an adult"
        )  # fmt: skip
        found.append(
            Finding(
                "warning",
                "beam-before-eyes",
                f"{file}: {line.surface}",
                f"{line.luminance_cd_m2:.2g} cd/m²",
                f"is how bright the projector's lens may look to {line.person} at "
                f"{line.distance_m:.2g} m{told} (an estimate; IEC 62471, from memory)",
                "hang it so that nobody can look into the lens, keep children out of the beam and "
                "watched, and follow the projector's own marking",
            )
        )
    return found
