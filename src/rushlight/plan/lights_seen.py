"""Other lights that a camera sees: lamps, windows, neighbouring rigs, remote controls.

Each is told of by where it stands in the picture and by how strong its dot is beside the rig's
own weakest one. Only lines straight from light to lens are followed: mirrors and shining floors
are not.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rushlight.physics.daylight import EDGES_M, GLOBAL_W_M2, GROUND_REFLECTANCE, in_band
from rushlight.physics.geometry import project
from rushlight.physics.light import ambient_electrons, electrons, irradiance_at_lens, pupil_area
from rushlight.plan.evaluate import Evaluation
from rushlight.plan.light import FAINTEST_PEAK, full_scale_e
from rushlight.records.resolved import ResolvedRig
from rushlight.records.rig import Rig
from rushlight.records.room import Disturber, Lamp, Window
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.resolve import first_wavelength_m
from rushlight.shelf.room_light import corners_m, lamp_flux_w, passes_of, response_of

Array = NDArray[Any]

TYPICAL: dict[str, tuple[float, float, float]] = {
    "remote-control": (940e-9, 0.150, 0.15),
    "autofocus-lamp": (850e-9, 0.020, 1.0),
    "range-finder": (940e-9, 0.500, 0.01),
}
"""Wavelength [m], intensity while lit [W/sr] and share of a frame that it is lit, by kind (all
from memory; such devices differ by ten times)."""
WINDOW_SHARE = 0.05
"""Of full scale that a window may take in the picture without a warning (our own choice)."""
SPLITS = 5
"""Points along each side of a window or box that are looked for in the picture."""


@dataclass(frozen=True)
class SeenLight:
    """A light that stands in a camera's picture.

    Attributes
    ----------
    camera, id, kind
        Which camera, which light.
    px
        (2,) middle of what is seen of it [px].
    ratio
        Electrons of its dot over those of the rig's weakest dot, at the exposure planned; None
        where it is no dot.
    passes
        Whether its dot is strong enough to pass for one.
    full_share
        Of a window: how much of full scale it takes in each pixel, without the sun in it.
    """

    camera: str
    id: str
    kind: str
    px: tuple[float, float]
    ratio: float | None
    passes: bool
    full_share: float | None = None


def lights_seen(
    rig: Rig, shelf: Shelf, resolved: ResolvedRig, evaluation: Evaluation
) -> list[SeenLight]:
    """Which other lights stand in the cameras' pictures, camera by camera."""
    if rig.room is None:
        return []
    wavelength = first_wavelength_m(rig, shelf)
    found: list[SeenLight] = []
    for index, camera in enumerate(rig.cameras):
        filter_part = shelf.filter(camera.filter) if camera.filter else None
        response = response_of(shelf.camera(camera.part), filter_part, wavelength)
        view = _View(resolved, evaluation, index, wavelength, response, camera.id)
        found += [view.window(window) for window in rig.room.windows if window.light != "dark"]
        for lamp in rig.room.lamps:
            counts = lamp_flux_w(lamp, response) / (4.0 * np.pi)
            found.append(view.dot(lamp.id, f"{lamp.kind} lamp", _point(lamp), counts))
        for near in rig.room.neighbours:
            part = shelf.emitter(near.part)
            light = part.intensity.si * near.current.value / part.test_current.si
            counts = light * float(np.interp(part.wavelength.si, _MIDDLES_M, response))
            found.append(view.dot(near.id, "neighbour", points_in(*corners_m(near)), counts))
        for disturber in rig.room.disturbers:
            counts = _disturber_w_sr(disturber, response)
            found.append(view.dot(disturber.id, disturber.kind, _point(disturber), counts))
    return [each for each in found if np.isfinite(each.px[0])]


_MIDDLES_M = (EDGES_M[1:] + EDGES_M[:-1]) / 2.0


def window_per_s(
    window: Window, resolved: ResolvedRig, camera: int, wavelength_m: float, response: Array
) -> float:
    """How much of full scale sunlit ground beyond a window takes in a second of exposure."""
    beyond = passes_of(window) * GROUND_REFLECTANCE * float(in_band(GLOBAL_W_M2, response))
    c = resolved.cameras
    level = ambient_electrons(
        beyond,
        1.0,
        c.f_number[0, camera],
        c.pixel_m[0, camera],
        c.transmission[0, camera, 0],
        1.0,
        wavelength_m,
        c.quantum_efficiency[0, camera, 0],
    )
    return float(level / full_scale_e(resolved, camera)[0])


@dataclass(frozen=True)
class _View:
    """One camera, and what its own weakest dot is like."""

    resolved: ResolvedRig
    evaluation: Evaluation
    camera: int
    wavelength_m: float
    response: Array
    name: str

    def dot(self, name: str, kind: str, points: Array, w_sr: float) -> SeenLight:
        """A small light, or one that moves within a box, at its nearest in the picture."""
        px, inside = self._seen(points)
        if not inside.any():
            return SeenLight(self.name, name, kind, (np.nan, np.nan), None, False)
        away = np.linalg.norm(points[inside] - self._lens(), axis=-1)
        c = self.resolved.cameras
        strength = electrons(
            irradiance_at_lens(w_sr, away.min()),
            pupil_area(c.focal_m[0, self.camera], c.f_number[0, self.camera]),
            c.transmission[0, self.camera, 0],
            self.evaluation.exposure_s[0, self.camera],
            self.wavelength_m,
            c.quantum_efficiency[0, self.camera, 0],
        )
        weakest, peak = self._weakest()
        ratio = float(strength / weakest) if weakest > 0.0 else None
        passes = ratio is not None and ratio * peak >= FAINTEST_PEAK
        middle = px[inside].mean(axis=0)
        return SeenLight(self.name, name, kind, (float(middle[0]), float(middle[1])), ratio, passes)

    def window(self, window: Window) -> SeenLight:
        """A window, as the ground or sky in full sun that is seen through it."""
        px, inside = self._seen(points_in(*corners_m(window)))
        if not inside.any():
            return SeenLight(self.name, window.id, "window", (np.nan, np.nan), None, False)
        exposure_s = self.evaluation.exposure_s[0, self.camera]
        share = exposure_s * window_per_s(
            window, self.resolved, self.camera, self.wavelength_m, self.response
        )
        middle = px[inside].mean(axis=0)
        where = (float(middle[0]), float(middle[1]))
        return SeenLight(self.name, window.id, "window", where, None, share > WINDOW_SHARE, share)

    def _lens(self) -> Array:
        return np.asarray(self.resolved.cameras.rig_from_camera[0, self.camera, :3, 3])

    def _seen(self, points: Array) -> tuple[Array, Array]:
        """Where points (N, 3) stand in the picture [px], and which lie in it."""
        c = self.resolved.cameras
        pose = c.rig_from_camera[0, self.camera]
        px, _ = project(points, c.K[0, self.camera], c.distortion[0, self.camera], pose)
        size = c.size_px[0, self.camera]
        return px, np.all((px >= -0.5) & (px <= size - 0.5), axis=-1)

    def _weakest(self) -> tuple[float, float]:
        """Electrons of the rig's weakest dot in view, and its peak over the noise."""
        ev = self.evaluation
        seen = ev.in_view[0] & (ev.electrons[0] > 0.0)
        if not seen.any():
            return 0.0, 0.0
        flux = np.where(seen, ev.electrons[0], np.inf)
        least = np.unravel_index(int(np.argmin(flux)), flux.shape)
        return float(flux[least]), float(ev.peak_over_noise[0][least])


def _point(thing: Lamp | Disturber) -> Array:
    return np.array([[step.value for step in thing.position]])


def points_in(corner: Array, opposite: Array) -> Array:
    """Points (N, 3) in a box, a rectangle or less."""
    share = np.linspace(0.0, 1.0, SPLITS)
    axes = [
        low + share * (high - low) if low != high else np.array([low])
        for low, high in zip(corner, opposite, strict=True)
    ]
    return np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)


def _disturber_w_sr(disturber: Disturber, response: Array) -> float:
    """What it sends toward the camera that counts, averaged over a frame [W/sr]."""
    wave, w_sr, duty = TYPICAL[disturber.kind]
    wave = disturber.wavelength.value if disturber.wavelength else wave
    w_sr = disturber.intensity.value if disturber.intensity else w_sr
    duty = disturber.duty.value if disturber.duty else duty
    return float(w_sr * duty * np.interp(wave, _MIDDLES_M, response))
