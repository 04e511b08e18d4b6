"""What a camera of a rig comes to: its pose, its lens, and what light it lets through."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rushlight.physics.filter_band import ANGLES_RAD, filter_share
from rushlight.physics.geometry import (
    camera_matrix,
    rig_from_camera_looking_at,
    rig_from_camera_turned,
)
from rushlight.physics.geometry.lens_doubt import k_cov_behind_plane
from rushlight.records.arrays import Array
from rushlight.records.parts import CameraPart, EmitterPart, FilterPart
from rushlight.records.registration import LensCalibration
from rushlight.records.rig import Camera, Surface

SENSED_M = (800e-9, 1000e-9)
"""Wavelengths [m] for which two values of quantum efficiency, at 850 and 940 nm, say enough."""

_PARAMETERS = ("k1", "k2", "p1", "p2", "k3")


def camera_pose(camera: Camera) -> Array:
    """Where a camera stands and which way it looks.

    Returns
    -------
    (4, 4)
        ``rig_from_camera`` [m].

    Raises
    ------
    ValueError
        When it looks at its own place.
    """
    position = [step.value for step in camera.position]
    if camera.look_at is not None:
        return rig_from_camera_looking_at(position, [step.value for step in camera.look_at])
    if camera.aim is None:
        raise ValueError("expected a camera with look_at or aim, got neither")
    roll = camera.aim.roll.value if camera.aim.roll else 0.0
    return rig_from_camera_turned(position, camera.aim.turn.value, camera.aim.tilt.value, roll)


def surface_pose(surface: Surface) -> Array:
    """Where a display stands and which way it faces.

    Returns
    -------
    (4, 4)
        ``rig_from_surface`` [m]; the display looks along +z of its own frame.
    """
    if surface.pose is None:
        return np.eye(4)
    place = surface.pose
    angles = [0.0 if each is None else each.value for each in (place.turn, place.tilt, place.roll)]
    # A camera that is turned so looks along −z of the surface's own frame.
    camera = rig_from_camera_turned([step.value for step in place.position], *angles)
    return np.asarray(camera @ np.diag([1.0, -1.0, -1.0, 1.0]))


@dataclass(frozen=True)
class Lens:
    """A lens as numbers.

    Attributes
    ----------
    matrix
        (3, 3) [px].
    distortion, distortion_std
        (5,) k1 k2 p1 p2 k3, and their standard deviations; 0 where none was stated.
    distortion_corr
        (5, 5) their correlations off the diagonal; 0 where independent.
    """

    matrix: Array
    distortion: Array
    distortion_std: Array
    distortion_corr: Array


def lens_of(part: CameraPart, calibration: LensCalibration | None) -> Lens:
    """The lens of a camera: as calibrated, or as the shelf describes it.

    The shelf's lens has its principal point in the middle of the picture. A coefficient that
    the shelf leaves out counts as 0, and a standard deviation that nobody stated as 0 too: then
    the lens is taken to be as described.

    Of a calibration's doubt counts what a registration to a plane leaves of it: focal length and
    centre are found again by that; the coefficients' deviations and correlations remain.
    """
    if calibration is not None:
        fx, fy, cx, cy = calibration.params[:4]
        matrix = camera_matrix(fx, [cx, cy], fy / fx)
        distortion = np.asarray(calibration.params[4:9], float)
        cov = k_cov_behind_plane(matrix, distortion, calibration.cov, calibration.size_px)
        return Lens(matrix, distortion, *_deviations(cov))
    width, height = part.size_px
    focal_px = part.focal_length.si / part.pixel_pitch.si
    coefficients = [getattr(part, name) for name in _PARAMETERS]
    return Lens(
        camera_matrix(focal_px, [(width - 1) / 2, (height - 1) / 2]),
        np.array([0.0 if each is None else each.si for each in coefficients]),
        np.array(
            [0.0 if each is None or each.std is None else each.si_std for each in coefficients]
        ),
        np.zeros((5, 5)),
    )


def _deviations(cov: Array) -> tuple[Array, Array]:
    """Standard deviations (5,), and correlations (5, 5) off the diagonal, of a covariance."""
    std = np.sqrt(np.maximum(np.diag(cov), 0.0))
    known = std > 0.0
    scale = np.where(known, std, 1.0)
    corr = np.where(np.outer(known, known), cov / np.outer(scale, scale), 0.0)
    # A hair short of ±1, so that rounding cannot make it impossible.
    return std, np.clip(corr, -1.0, 1.0) * (1.0 - 1e-9) * (1.0 - np.eye(5))


def passes(filter_part: FilterPart, wavelength_m: float) -> bool:
    """Whether a wavelength that comes straight on lies within what a filter passes."""
    low, high = _ends(filter_part)
    return low <= wavelength_m <= high


def filter_transmission(filter_part: FilterPart | None, wavelength_m: float) -> float:
    """Which share of light of one wavelength a filter lets through, straight on; all without one.

    An emitter shines over some tens of nanometres: see `filter_passage`.
    """
    if filter_part is None:
        return 1.0
    inside = passes(filter_part, wavelength_m)
    return (filter_part.transmission if inside else filter_part.leak).si


def filter_passage(filter_part: FilterPart | None, emitter: EmitterPart) -> tuple[float, Array]:
    """Which share of an emitter's light a filter lets through, straight on and aslant.

    Returns
    -------
    straight : float
        Of the emitter's whole spectrum; 1 without a filter.
    at_angles : (K,)
        Of that share, what passes at each of `filter_band.ANGLES_RAD`; 1 throughout for a filter
        without an effective index, which is taken not to shift.
    """
    if filter_part is None:
        return 1.0, np.ones(len(ANGLES_RAD))
    index = filter_part.effective_index
    width = emitter.spectral_width
    shares = filter_share(
        *_ends(filter_part),
        filter_part.transmission.si,
        filter_part.leak.si,
        np.inf if index is None else index.si,
        emitter.wavelength.si,
        0.0 if width is None else width.si,
        np.array(ANGLES_RAD),
    )
    return float(shares[0]), shares / shares[0] if shares[0] > 0.0 else np.ones_like(shares)


def _ends(filter_part: FilterPart) -> tuple[float, float]:
    """Shortest and longest wavelength that a filter passes straight on [m]."""
    if filter_part.edge is not None and filter_part.passes == "long":
        return filter_part.edge.si, np.inf
    if filter_part.centre is None or filter_part.width is None:
        raise ValueError("expected a band filter with centre and width")
    half = filter_part.width.si / 2
    return filter_part.centre.si - half, filter_part.centre.si + half


def quantum_efficiency(part: CameraPart, wavelength_m: float) -> float:
    """How many electrons a photon makes: straight between 850 and 940 nm, level beyond them.

    Raises
    ------
    ValueError
        Outside 800 to 1000 nm, where two values no longer say enough.
    """
    if not SENSED_M[0] <= wavelength_m <= SENSED_M[1]:
        raise ValueError(f"expected a wavelength within 800 to 1000 nm, got {wavelength_m:g} m")
    values = [part.quantum_efficiency_850.si, part.quantum_efficiency_940.si]
    return float(np.interp(wavelength_m, [850e-9, 940e-9], values))
