"""What the shelf lets expect of one emitter in one camera's picture."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from rushlight.physics.light import electrons, irradiance_at_lens, pupil_area
from rushlight.physics.touch_lights import AIRY_SIGMA_SHARE
from rushlight.records.parts import CameraPart, EmitterPart, FilterPart
from rushlight.records.sourced import Sourced
from rushlight.shelf.optics import filter_passage, quantum_efficiency

FULL_SCALE_DN = 255.0
UNKNOWN_PART = 0.3
"""Relative uncertainty taken where the shelf gives none; no source."""


@dataclass(frozen=True)
class Setup:
    """Camera and emitter as they stand in an inspection.

    Attributes
    ----------
    camera
        Of the shelf, with what was measured of it.
    gain
        The camera's.
    filter
        Before the lens, or None.
    emitter
        Of the shelf, or None when only the camera is known.
    current_a
        Through the emitter [A]; NaN for its test current.
    exposure_s
        That the rig sets [s]; NaN when the plan is to choose it. A take's name goes before.
    asked_hz
        Frame rate that the rig sets [Hz]; NaN when unknown.
    """

    camera: CameraPart
    gain: float = 1.0
    filter: FilterPart | None = None
    emitter: EmitterPart | None = None
    current_a: float = math.nan
    exposure_s: float = math.nan
    asked_hz: float = math.nan


def expected_flux_dn(setup: Setup, distance_m: float, exposure_s: float) -> tuple[float, float]:
    """How much light a dot should hold, and how uncertain the logarithm of that is.

    Parameters
    ----------
    setup
        With an emitter.
    distance_m
        Emitter to lens [m], > 0, along the axes of both.
    exposure_s
        [s], > 0.

    Returns
    -------
    flux_dn, log_std
        Sum over the dot's pixels above the background [DN]; NaN when something is unknown.

    Raises
    ------
    ValueError
        When the setup has no emitter.
    """
    if setup.emitter is None:
        raise ValueError("expected a setup with an emitter")
    camera, emitter = setup.camera, setup.emitter
    wavelength_m = emitter.wavelength.si
    current = emitter.test_current.si if math.isnan(setup.current_a) else setup.current_a
    intensity = emitter.intensity.si * current / emitter.test_current.si
    count = electrons(
        irradiance_at_lens(intensity, distance_m),
        pupil_area(camera.focal_length.si, camera.f_number.si),
        camera.lens_transmission.si * filter_passage(setup.filter, emitter)[0],
        exposure_s,
        wavelength_m,
        quantum_efficiency(camera, wavelength_m),
    )
    span_dn = FULL_SCALE_DN - camera.black_level.si
    per_dn = camera.full_well.si / setup.gain / span_dn
    near_850 = abs(wavelength_m - 850e-9) < abs(wavelength_m - 940e-9)
    quantum = camera.quantum_efficiency_850 if near_850 else camera.quantum_efficiency_940
    parts = [
        _part(emitter.intensity),
        _part(camera.lens_transmission),
        2.0 * _part(camera.f_number),
        2.0 * _part(camera.focal_length),
        _part(quantum),
        _part(camera.full_well),
    ]
    if setup.filter is not None:
        parts.append(_part(setup.filter.transmission))
    return float(count) / per_dn, float(np.linalg.norm(parts))


def expected_width_px(setup: Setup, distance_m: float) -> tuple[float, float]:
    """How wide a dot in focus should be, and how wide diffraction and size alone make it.

    Parameters
    ----------
    setup
        Without an emitter, light of 850 nm from a point is taken.
    distance_m
        Emitter to lens [m]; NaN when it is far.

    Returns
    -------
    expected, least
        Standard deviation of the dot along an axis [px], with and without the shelf's lens blur.

    Notes
    -----
    A disc of diameter D has the variance D²/16 along an axis (computed here); diffraction as in
    `AIRY_SIGMA_SHARE`, from memory.
    """
    camera = setup.camera
    wavelength_m = setup.emitter.wavelength.si if setup.emitter else 850e-9
    pitch_m = camera.pixel_pitch.si
    airy = AIRY_SIGMA_SHARE * 2.44 * wavelength_m * camera.f_number.si / pitch_m
    size = 0.0
    if setup.emitter is not None and math.isfinite(distance_m):
        size = setup.emitter.apparent_size.si * camera.focal_length.si / distance_m / pitch_m
    least2 = airy**2 + size**2 / 16.0
    return math.sqrt(least2 + camera.lens_blur.si**2), math.sqrt(least2)


def _part(value: Sourced) -> float:
    """Relative uncertainty of a value of the shelf."""
    if value.std is None or value.value == 0:
        return UNKNOWN_PART
    return value.std / value.value
