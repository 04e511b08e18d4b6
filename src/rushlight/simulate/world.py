"""One room as it really is: what the plan knows only as a spread is drawn here once.

A rig's document says how uncertain its lens and wall are. A world holds one draw of each, kept
from the tool and used to make footage with known truth.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from rushlight.errors import RushlightError
from rushlight.physics.geometry import flatness_modes
from rushlight.physics.geometry.rotation import pose_moved
from rushlight.physics.surface_model import bend_amplitudes, edge_to_edge, lens_spread
from rushlight.records.arrays import Array
from rushlight.records.figure import ERROR_CAUSES
from rushlight.records.resolved import ResolvedRig
from rushlight.simulate.cast import Cast

ALL_CAUSES: frozenset[str] = frozenset(ERROR_CAUSES)
"""The causes of error that can be switched on one by one."""

HOT_PIXELS_A_MEGAPIXEL = 10.0
"""Expected number of pixels that always glow. Invented."""

_ROOM, _HAND, _SENSOR, _CODE, _HANGING = 0, 1, 2, 3, 4


def checked_causes(names: Iterable[str]) -> frozenset[str]:
    """The causes of these names.

    Raises
    ------
    RushlightError
        When a name is none of the six.
    """
    causes = frozenset(names)
    for name in sorted(causes - ALL_CAUSES):
        raise RushlightError.of(
            "causes", f'"{name}"', "is no cause of error", f"use {', '.join(ERROR_CAUSES)}", "cause"
        )
    return causes


@dataclass(frozen=True, eq=False)
class World:
    """A rig in its room, with everything drawn that the plan does not know.

    Attributes
    ----------
    rig
        The rig as numbers, a batch of one, its exposure settled.
    cast
        Names, and where people stand.
    camera
        Index of the camera that films.
    causes
        Which causes of error are on.
    registering
        Indices of the emitters that touch the beacons.
    seed
        Of the room, the hands and the sensor.
    lens
        (5,) the lens as it is, k1 k2 p1 p2 k3.
    bends_m
        (7,) amplitudes of the wall's bends [m].
    hot_pixels
        (N, 3) column, row and glow [e⁻].
    """

    rig: ResolvedRig
    cast: Cast
    camera: int
    causes: frozenset[str]
    registering: tuple[int, ...]
    seed: int
    lens: Array
    bends_m: Array
    hot_pixels: Array

    @property
    def size_m(self) -> Array:
        """(2,) width and height of the surface [m]."""
        return np.asarray(self.rig.surface.size_m[0])

    @property
    def size_px(self) -> tuple[int, int]:
        """Columns and rows of the picture."""
        columns, rows = self.rig.cameras.size_px[0, self.camera]
        return int(columns), int(rows)

    @property
    def full_scale_dn(self) -> int:
        """Level of a pixel at full scale."""
        return int(self.rig.cameras.levels[0, self.camera]) - 1

    @property
    def frame_rate_hz(self) -> float:
        """Of the camera [Hz]."""
        return float(self.rig.cameras.frame_rate_hz[0, self.camera])

    @property
    def exposure_s(self) -> float:
        """Of the camera [s]."""
        return float(self.rig.cameras.exposure_s[0, self.camera])

    def wall_height(self, xy_m: Array) -> Array:
        """How high the wall stands above its mean plane: (..., 2) [m] -> (...) [m]."""
        return np.asarray(flatness_modes(edge_to_edge(xy_m, self.size_m)) @ self.bends_m)

    def code(self, emitter: int) -> tuple[str, float, float] | None:
        """Bits, length of a bit and a beginning [s] of what a light blinks; None if nothing."""
        given = self.cast.codes[emitter] if self.cast.codes else None
        if given is None:
            return None
        bits, bit_s = given
        # Nobody knows at which bit it was when the footage began.
        share = _stream(self.seed, _CODE, self.cast.carried[emitter]).uniform()
        return bits, bit_s, -float(share) * len(bits) * bit_s

    def hand(self, script: str) -> np.random.Generator:
        """The random numbers of the hands in a script."""
        return _stream(self.seed, _HAND, script)

    def sensor(self, script: str) -> np.random.Generator:
        """The random numbers of the camera's sensor in a script."""
        return _stream(self.seed, _SENSOR, script)


def _stream(seed: int, use: int, script: str = "") -> np.random.Generator:
    """One stream for each use and script, so that switching one thing disturbs no other."""
    return np.random.default_rng(
        np.random.SeedSequence(seed, spawn_key=(use, zlib.crc32(script.encode())))
    )


def draw_world(
    rig: ResolvedRig,
    seed: int,
    causes: Iterable[str] = ALL_CAUSES,
    *,
    cast: Cast | None = None,
    camera: int = 0,
    registering: Sequence[int] | None = None,
) -> World:
    """Draw one room from a rig.

    The same rig and seed give the same room whatever the script and the causes: a cause that is
    off is drawn all the same and then set to nothing.

    Parameters
    ----------
    rig : ResolvedRig
        A batch of one with a known exposure.
    seed : int, ≥ 0
    causes
        Names out of centre, registration, lens, flatness, tip, pixel.
    cast : Cast or None
        Names; plain ones when left out.
    camera : int
        Index of the camera that films.
    registering
        Indices of the emitters that touch the beacons, all by default.

    Returns
    -------
    World

    Raises
    ------
    RushlightError
        When a cause is unknown, or the exposure is not settled or longer than a frame.
    ValueError
        When the rig is not a batch of one or the cast does not fit it.
    """
    emitters = rig.emitters.position_m.shape[1]
    if len(rig) != 1:
        raise ValueError(f"expected a batch of one rig, got {len(rig)}")
    cast = Cast.unnamed(emitters) if cast is None else cast
    if len(cast.carried) != emitters:
        raise ValueError(f"expected a cast of {emitters} emitters, got {len(cast.carried)}")
    _check_camera(rig, cast, camera)
    on = checked_causes(causes)
    cameras = rig.cameras
    room = _stream(seed, _ROOM)
    lens_draw, bend_draw = room.standard_normal(5), room.standard_normal(7)
    return World(
        rig=rig,
        cast=cast,
        camera=camera,
        causes=on,
        registering=tuple(range(emitters) if registering is None else registering),
        seed=seed,
        lens=cameras.distortion[0, camera]
        + ("lens" in on)
        * lens_spread(cameras.distortion_std[0, camera], cameras.distortion_corr[0, camera])
        @ lens_draw,
        bends_m=("flatness" in on) * bend_amplitudes(rig.surface.flatness_m[0]) * bend_draw,
        hot_pixels=_hot_pixels(room, cameras.size_px[0, camera], cameras.full_well_e[0, camera]),
    )


def hung(
    rig: ResolvedRig,
    seed: int,
    camera: int,
    place_std_m: float,
    turn_std_rad: float,
    focal_share: float,
) -> ResolvedRig:
    """A rig whose camera is not quite where the plan has it, and has not quite its focal length.

    Parameters
    ----------
    rig
        A batch of one.
    seed
        The same seed hangs it the same way.
    camera
        Index of the camera.
    place_std_m, turn_std_rad
        How far off it is hung, along each axis [m] and about each axis [rad]; normal.
    focal_share
        Standard deviation of the focal length, as a share of it; log-normal.
    """  # fmt: skip
    draw = _stream(seed, _HANGING).standard_normal(7)
    step = np.repeat([place_std_m, turn_std_rad], 3) * draw[:6]
    pose = np.array(rig.cameras.rig_from_camera)
    K, focal_m = np.array(rig.cameras.K), np.array(rig.cameras.focal_m)
    pose[0, camera] = pose_moved(pose[0, camera], step)
    longer = np.exp(np.sqrt(np.log1p(focal_share**2)) * draw[6])
    K[0, camera, [0, 1], [0, 1]] *= longer
    focal_m[0, camera] *= longer
    cameras = rig.cameras.replace(rig_from_camera=pose, K=K, focal_m=focal_m)
    return replace(rig, cameras=cameras)


def _hot_pixels(room: np.random.Generator, size_px: Array, full_well_e: float) -> Array:
    columns, rows = (int(side) for side in size_px)
    count = int(room.poisson(HOT_PIXELS_A_MEGAPIXEL * columns * rows / 1e6))
    return np.column_stack(
        [
            room.integers(0, columns, count),
            room.integers(0, rows, count),
            full_well_e * room.uniform(0.1, 0.8, count),
        ]
    )


def _check_camera(rig: ResolvedRig, cast: Cast, camera: int) -> None:
    where = f"camera {cast.camera}"
    exposure_s = float(rig.cameras.exposure_s[0, camera])
    period_s = 1.0 / float(rig.cameras.frame_rate_hz[0, camera])
    if not exposure_s > 0.0:
        raise RushlightError.of(
            f"{where}: exposure",
            "",
            "is not settled",
            "give the plan that chose it, or write an exposure into the rig",
            "exposure-unknown",
        )
    if exposure_s > period_s * (1.0 + 1e-9):
        raise RushlightError.of(
            f"{where}: exposure",
            f"{exposure_s * 1e3:.1f} ms",
            f"is longer than the {period_s * 1e3:.1f} ms frame period",
            "shorten it or lower the frame rate",
            "exposure-longer-than-frame",
        )
