"""One rig of space as it really is: what the plan knows only as a spread is drawn here once.

Cameras stand a little off where the document says, lenses differ from their numbers, lights and
points from the drawing, and clocks run apart. A world holds one draw of each, kept from the tool.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from rushlight.errors import RushlightError
from rushlight.records.arrays import Array
from rushlight.records.figure import SPACE_CAUSES
from rushlight.records.space import ANOTHERS, ResolvedSpace, Thing

ALL_SPACE_CAUSES: frozenset[str] = frozenset(SPACE_CAUSES)
"""The causes of error of a rig of space that can be switched on one by one."""

CLOCK_STD_S, CLOCK_MOST_S = 0.01, 0.03
"""How far the clock of a camera of a volume rig runs apart from the first one's: standard
deviation, and the most that is drawn [s]. Invented."""

HOT_PIXELS_A_MEGAPIXEL = 10.0
"""Expected number of pixels that always glow. Invented."""

_CAMERAS, _LIGHTS, _POINTS, _CLOCKS, _HAND, _SENSOR, _CODE, _WEARER = range(8)


def checked_space_causes(names: Iterable[str]) -> frozenset[str]:
    """The causes of these names.

    Raises
    ------
    RushlightError
        When a name is none of a rig of space.
    """
    causes = frozenset(names)
    for name in sorted(causes - ALL_SPACE_CAUSES):
        raise RushlightError.of(
            "causes",
            f'"{name}"',
            "is no cause of error of a rig that follows things in space",
            f"use {', '.join(SPACE_CAUSES)}",
            "cause",
        )
    return causes


@dataclass(frozen=True, eq=False)
class SpaceWorld:
    """A rig of space with everything drawn that the plan does not know.

    Attributes
    ----------
    space
        The rig as numbers, its exposures settled.
    causes, seed
        Which causes of error are on; of all random numbers.
    rig_from_camera, K, k
        (C, 4, 4), (C, 3, 3), (C, 5) the cameras as they are.
    clock_offset_ns
        (C,) how far each camera's clock runs ahead of the first one's [ns].
    lights_m
        By thing, (L, 3) where its lights really sit [m].
    points_m, registering_points_m
        By thing, (P, 3) where its points really are in use, and on whoever registers [m].
    hot_pixels
        For each camera (N, 3) column, row and glow [e⁻].
    """

    space: ResolvedSpace
    causes: frozenset[str]
    seed: int
    rig_from_camera: Array
    K: Array
    k: Array
    clock_offset_ns: Array
    lights_m: Mapping[str, Array]
    points_m: Mapping[str, Array]
    registering_points_m: Mapping[str, Array]
    hot_pixels: tuple[Array, ...]

    def size_px(self, camera: int) -> tuple[int, int]:
        """Columns and rows of a camera's picture."""
        columns, rows = (int(side) for side in self.space.cameras.size_px[0, camera])
        return columns, rows

    def full_scale_dn(self, camera: int) -> int:
        """Level of a pixel at full scale."""
        return int(self.space.cameras.levels[0, camera]) - 1

    def frame_rate_hz(self, camera: int) -> float:
        """Of a camera [Hz]."""
        return float(self.space.cameras.frame_rate_hz[0, camera])

    def exposure_s(self, camera: int) -> float:
        """Of a camera [s]."""
        return float(self.space.cameras.exposure_s[0, camera])

    def noisy(self, script: str) -> bool:
        """Whether the cameras spoil their pictures: noise belongs to the registration in its
        own script, and to the dot centre otherwise."""
        return ("registration" if script == "registration" else "centre") in self.causes

    def main_point_m(self, thing: Thing, script: str) -> Array:
        """(3,) where the point that counts really is on a thing [m]."""
        points = self.registering_points_m if script == "registration" else self.points_m
        return np.asarray(points[thing.id][0])

    def hand(self, script: str) -> np.random.Generator:
        """The random numbers of people in a script."""
        return _stream(self.seed, _HAND, script)

    def sensor(self, script: str, camera: int) -> np.random.Generator:
        """The random numbers of a camera's sensor in a script."""
        return _stream(self.seed, _SENSOR, f"{script}/{self.space.camera_ids[camera]}")

    def code_begin_s(self, light: int, length_s: float) -> float:
        """When a light's code first began, from 0 to one length of it before the footage [s]."""
        return -float(_stream(self.seed, _CODE, str(light)).uniform()) * length_s


def _stream(seed: int, use: int, name: str = "") -> np.random.Generator:
    """One stream for each use and name, so that switching one thing disturbs no other."""
    return np.random.default_rng(
        np.random.SeedSequence(seed, spawn_key=(use, zlib.crc32(name.encode())))
    )


def draw_space(
    space: ResolvedSpace, seed: int, causes: Iterable[str] = ALL_SPACE_CAUSES
) -> SpaceWorld:
    """Draw one world from a rig of space.

    The same rig and seed give the same world whatever the script and the causes: a cause that is
    off is drawn all the same and then set to nothing.

    Parameters
    ----------
    space
        With every exposure known.
    seed : int, ≥ 0
    causes
        Names out of `SPACE_CAUSES`. ``turning`` draws nothing: it lies in the way of following.

    Raises
    ------
    RushlightError
        When a cause is unknown, or an exposure is not settled or longer than a frame.
    """
    on = checked_space_causes(causes)
    for camera in range(len(space.camera_ids)):
        _check_exposure(space, camera)
    cameras = space.cameras
    poses, K, k, hot = [], [], [], []
    for camera, name in enumerate(space.camera_ids):
        draw = _stream(seed, _CAMERAS, name)
        off, lens_draw = draw.standard_normal(6), draw.standard_normal(9)
        poses.append(_placed(space, camera, off * ("registration" in on)))
        matrix, coefficients = _lens(space, camera, lens_draw * ("lens" in on))
        K.append(matrix)
        k.append(coefficients)
        hot.append(_hot_pixels(draw, cameras.size_px[0, camera], cameras.full_well_e[0, camera]))
    things = [*space.things, *([space.scale_bar] if space.scale_bar else [])]
    return SpaceWorld(
        space=space,
        causes=on,
        seed=seed,
        rig_from_camera=np.stack(poses),
        K=np.stack(K),
        k=np.stack(k),
        clock_offset_ns=_clocks(space, seed) * ("registration" in on),
        lights_m={each.id: _lights(each, seed, "build" in on) for each in things},
        points_m={each.id: _points(each, seed, "point" in on, False) for each in things},
        registering_points_m={
            each.id: _points(each, seed, "point" in on, each.kind in ANOTHERS) for each in things
        },
        hot_pixels=tuple(hot),
    )


def _placed(space: ResolvedSpace, camera: int, off: Array) -> Array:
    """Where a camera really stands: (4, 4), off by six normal numbers."""
    pose = np.array(space.cameras.rig_from_camera[0, camera])
    if camera == space.fixed_camera:
        return pose
    from scipy.spatial.transform import Rotation

    turned = Rotation.from_rotvec(space.turned_std_rad[camera] * off[3:]).as_matrix()
    pose[:3, :3] = turned @ pose[:3, :3]
    pose[:3, 3] += space.placed_std_m[camera] * off[:3]
    return pose


def _lens(space: ResolvedSpace, camera: int, normal: Array) -> tuple[Array, Array]:
    """Camera matrix and coefficients as they are, off by nine normal numbers."""
    K = np.array(space.cameras.K[0, camera])
    k = np.array(space.cameras.distortion[0, camera])
    cov = np.asarray(space.lens_cov[camera])
    # Scaled to correlations first: pixels and coefficients differ by many powers of ten.
    scale = np.sqrt(np.maximum(np.diag(cov), 0.0))
    safe = np.where(scale > 0.0, scale, 1.0)
    values, vectors = np.linalg.eigh(cov / np.outer(safe, safe))
    off = scale * (vectors @ (np.sqrt(np.maximum(values, 0.0)) * normal))
    K[0, 0] += off[0]
    K[1, 1] += off[1]
    K[0, 2] += off[2]
    K[1, 2] += off[3]
    return K, k + off[4:]


def _clocks(space: ResolvedSpace, seed: int) -> Array:
    offsets = np.zeros(len(space.camera_ids), np.int64)
    if space.kinds != ("volume",):
        return offsets
    for camera, name in enumerate(space.camera_ids[1:], start=1):
        drawn_s = CLOCK_STD_S * _stream(seed, _CLOCKS, name).standard_normal()
        offsets[camera] = round(float(np.clip(drawn_s, -CLOCK_MOST_S, CLOCK_MOST_S)) * 1e9)
    return offsets


def _lights(thing: Thing, seed: int, on: bool) -> Array:
    off = _stream(seed, _LIGHTS, thing.id).standard_normal(thing.lights_m.shape)
    return np.asarray(thing.lights_m + on * thing.lights_std_m[:, None] * off)


def _points(thing: Thing, seed: int, on: bool, another: bool) -> Array:
    use = _WEARER if another else _POINTS
    off = _stream(seed, use, thing.id).standard_normal(thing.points_m.shape)
    return np.asarray(thing.points_m + on * thing.points_std_m[:, None] * off)


def _hot_pixels(draw: np.random.Generator, size_px: Array, full_well_e: float) -> Array:
    columns, rows = (int(side) for side in size_px)
    count = int(draw.poisson(HOT_PIXELS_A_MEGAPIXEL * columns * rows / 1e6))
    return np.column_stack(
        [
            draw.integers(0, columns, count),
            draw.integers(0, rows, count),
            full_well_e * draw.uniform(0.1, 0.8, count),
        ]
    )


def _check_exposure(space: ResolvedSpace, camera: int) -> None:
    where = f"camera {space.camera_ids[camera]}: exposure"
    exposure_s = float(space.cameras.exposure_s[0, camera])
    period_s = 1.0 / float(space.cameras.frame_rate_hz[0, camera])
    if not exposure_s > 0.0:
        raise RushlightError.of(
            where,
            "",
            "is not settled",
            "give the plan that chose it, or write an exposure into the rig",
            "exposure-unknown",
        )
    if exposure_s > period_s * (1.0 + 1e-9):
        raise RushlightError.of(
            where,
            f"{exposure_s * 1e3:.1f} ms",
            f"is longer than the {period_s * 1e3:.1f} ms frame period",
            "shorten it or lower the frame rate",
            "exposure-longer-than-frame",
        )
