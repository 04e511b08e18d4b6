"""From dots in the picture to places on the surface, by a registration."""

from __future__ import annotations

import numpy as np

from rushlight.errors import Finding, RushlightError
from rushlight.physics.geometry import distortion_limit
from rushlight.physics.surface_map import map_px
from rushlight.records.arrays import Array
from rushlight.records.registration import Registration
from rushlight.records.space_registration import SpaceRegistration
from rushlight.track.map_frame import map_dots


class SurfaceMap:
    """A registration made ready for one camera.

    Parameters
    ----------
    registration
        The document.
    camera
        Id of the camera whose dots are mapped.
    size_px
        Width and height of its frames [px].

    Attributes
    ----------
    surface
        Id of the surface.
    size_m
        (2,) its width and height [m].

    Raises
    ------
    RushlightError
        When the registration was made for another camera or another picture size.
    """

    def __init__(self, registration: Registration, camera: str, size_px: tuple[int, int]) -> None:
        valid = registration.valid_for
        if valid.size_px != size_px:
            raise RushlightError.of(
                "registration: valid_for.size_px",
                f"{valid.size_px[0]}×{valid.size_px[1]}",
                f"is not the footage's {size_px[0]}×{size_px[1]} px",
                "register anew with the camera as it is used",
                "registration-size",
            )
        own = next((one for one in registration.maps if one.camera == camera), None)
        if own is None:
            known = ", ".join(one.camera for one in registration.maps)
            raise RushlightError.of(
                "registration: maps",
                known,
                f'holds no map of the camera "{camera}"',
                "use footage of that camera, or register this one",
                "registration-camera",
            )
        self.surface = valid.surface
        self.size_m = np.array(valid.surface_size_m, float)
        self._K = np.array(own.camera_matrix, float)
        self._distortion = np.array(own.distortion, float)
        self._limit = float(distortion_limit(self._distortion))
        self._surface_from_normalised = np.array(own.surface_from_normalised, float)
        self._camera_m = np.array(own.camera_position_m, float)
        self._flatness_m = np.array(registration.flatness_m, float)

    def __call__(self, xy_px: Array, cov_px2: Array) -> tuple[Array, Array]:
        """Where dots are on the surface, with the doubt of their own centres.

        Parameters
        ----------
        xy_px
            (N, 2) [px].
        cov_px2
            (N, 2, 2) [px²].

        Returns
        -------
        xy_m
            (N, 2) [m]; NaN where the map does not reach.
        cov_m2
            (N, 2, 2) [m²]; the registration's own doubt is common to all fixes and not in it.
        """
        xy_px = np.ascontiguousarray(xy_px, float)
        cov_px2 = np.ascontiguousarray(cov_px2, float)
        xy_m, cov_m2 = np.empty_like(xy_px), np.empty_like(cov_px2)
        map_dots(
            xy_px,
            cov_px2,
            self._K,
            self._distortion,
            self._limit,
            self._surface_from_normalised,
            self._flatness_m,
            self.size_m,
            self._camera_m,
            xy_m,
            cov_m2,
        )
        left = np.isnan(xy_m[:, 0])
        if left.any():
            # Near a fold of the lens the quick way may not arrive; the careful one tells.
            xy_m[left], cov_m2[left] = map_px(
                xy_px[left],
                cov_px2[left],
                self._K,
                self._distortion,
                self._surface_from_normalised,
                self._flatness_m,
                self.size_m,
                self._camera_m,
            )
        return xy_m, cov_m2


def doubts_of(
    registration: Registration | SpaceRegistration, name: str, simulated: bool
) -> list[Finding]:
    """What speaks against relying on a registration.

    Parameters
    ----------
    registration
        The document.
    name
        Of its file.
    simulated
        Whether the footage that it is used for was simulated.
    """
    findings = []
    if not registration.verdict.vouched:
        reasons = "; ".join(registration.verdict.reasons)
        findings.append(
            Finding(
                "warning",
                "registration-not-vouched",
                name,
                "",
                f"is not vouched for: {reasons}",
                "register anew",
            )
        )
    basis = registration.header.basis if registration.header else "measured"
    if (basis == "simulated") != simulated:
        given = "simulated" if basis == "simulated" else "measured"
        other = "simulated" if simulated else "measured"
        findings.append(
            Finding(
                "warning",
                "basis-differs",
                f"{name}: basis",
                given,
                f"is not that of the footage, which is {other}",
                "register with footage of the same room",
            )
        )
    return findings
