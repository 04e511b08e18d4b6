"""What a registration is predicted to leave of the doubt of cameras and lenses, cause by cause.

The same model as the registration itself: all cameras (place, angles, lens), where the lights sit
on the thing and the point that is held are unknowns that all rows share, each believed as exactly
as the rig says; each row has a pose of its own. The estimate's error is linear in what really
differs (mounting, lens, lights, point, how the thing is turned, dots), so that each cause's share
can be told apart: together they are the covariance of the estimate.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rushlight.physics.geometry.rotation import cross_matrix
from rushlight.physics.sighting import DOT_FLOOR_PX
from rushlight.plan.space_design import Design
from rushlight.plan.space_light import SpaceDots, places_of_lights, space_dots, space_light
from rushlight.records.arrays import Array
from rushlight.records.space import ResolvedSpace, Thing
from rushlight.records.space_registration import CAMERA_NUMBERS

ENOUGH_LIGHTS = 4
"""So many lights tell a pose by themselves: how the thing is turned is then not supposed."""
_LEAST_EIGEN = 1e-14


@dataclass(frozen=True)
class SpaceRegistered:
    """The doubt of cameras and lenses after a registration.

    Attributes
    ----------
    cov
        Cause to (15 C, 15 C), independent of one another: `registration` (mounting, how marks
        are met, dots), `lens`, `turning`.
    by_lights, by_point
        (15 C, 3 L), (15 C, 3): how the estimate goes wrong with each light's and the held point's
        place, for one deviation of each along each axis of the thing.
    thing
        Whose lights and point those are, None after mounting alone.
    """

    cov: dict[str, Array]
    by_lights: Array
    by_point: Array
    thing: Thing | None

    @property
    def whole(self) -> Array:
        """(15 C, 15 C) covariance, all causes together."""
        own = self.by_lights @ self.by_lights.T + self.by_point @ self.by_point.T
        return np.asarray(sum(self.cov.values()) + own)


@dataclass(frozen=True)
class Spread:
    """The cameras' doubts before a registration as independent numbers of unit deviation.

    Attributes
    ----------
    columns
        (15 C, Q) what each changes.
    of_lens
        (Q,) whether it is one of a lens.
    """

    columns: Array
    of_lens: Array


def spread_of(space: ResolvedSpace) -> Spread:
    """What a rig's document leaves open of its cameras."""
    count = len(space.camera_ids)
    columns, of_lens = [], []
    for camera in range(count):
        at = CAMERA_NUMBERS * camera
        for number in range(6):
            std = space.placed_std_m[camera] if number < 3 else space.turned_std_rad[camera]
            if camera != space.fixed_camera and std > 0.0:
                column = np.zeros(CAMERA_NUMBERS * count)
                column[at + number] = std
                columns.append(column)
                of_lens.append(False)
        # Pixels and coefficients are brought to like sizes before small parts are left out.
        scale = np.array([space.cameras.K[0, camera, 0, 0]] * 4 + [1.0] * 5)
        values, vectors = np.linalg.eigh(space.lens_cov[camera] / np.outer(scale, scale))
        for value, vector in zip(values, vectors.T, strict=True):
            if value > _LEAST_EIGEN * values.max() and value > 0.0:
                column = np.zeros(CAMERA_NUMBERS * count)
                column[at + 6 : at + CAMERA_NUMBERS] = np.sqrt(value) * vector * scale
                columns.append(column)
                of_lens.append(True)
    shape = (CAMERA_NUMBERS * count, len(columns))
    return Spread(np.array(columns).T.reshape(shape), np.array(of_lens, bool))


def registered(space: ResolvedSpace, design: Design, exposure_s: Array) -> SpaceRegistered:
    """What a design is predicted to leave open.

    Parameters
    ----------
    space
        The rig.
    design
        The steps.
    exposure_s
        (C,) of the cameras [s].
    """
    spread = spread_of(space)
    thing = design.thing
    if thing is None:
        return _mounted(spread)
    dots = space_dots(space, space_light(space, thing, design.poses), exposure_s)
    rows = _Rows(space, thing, design, dots, spread)
    normal = np.eye(rows.shared.shape[-1])
    noise: dict[str, Array] = {}
    left = _without_own(rows)
    for cause, lines in rows.lines_of.items():
        part = np.einsum("nrs,nrt->st", left[:, lines], left[:, lines])
        noise[cause] = part
        normal = normal + part
    post = np.linalg.inv(normal)
    count = spread.columns.shape[1]
    to_cameras = spread.columns @ post[:count]
    cov = {cause: to_cameras @ part @ to_cameras.T for cause, part in noise.items()}
    for cause, which in (("registration", ~spread.of_lens), ("lens", spread.of_lens)):
        own = to_cameras[:, :count][:, which]
        cov[cause] = cov.get(cause, 0.0) + own @ own.T
    lights = 3 * len(thing.lights)
    return SpaceRegistered(
        cov, -to_cameras[:, count : count + lights], -to_cameras[:, count + lights :], thing
    )


def _mounted(spread: Spread) -> SpaceRegistered:
    parts = {
        "registration": spread.columns[:, ~spread.of_lens],
        "lens": spread.columns[:, spread.of_lens],
    }
    size = len(spread.columns)
    return SpaceRegistered(
        {cause: part @ part.T for cause, part in parts.items()},
        np.zeros((size, 0)),
        np.zeros((size, 0)),
        None,
    )


class _Rows:
    """Lines of all rows in units of their deviations, and how they move with the unknowns.

    Attributes
    ----------
    shared
        (N, R, Q + 3 L + 3) with the shared numbers' units: cameras, lights, point.
    own
        (N, R, 6) with the row's own pose.
    lines_of
        Cause to which of the R lines.
    """

    def __init__(
        self, space: ResolvedSpace, thing: Thing, design: Design, dots: SpaceDots, spread: Spread
    ) -> None:
        cameras, rows, lights = dots.seen.shape
        turn = design.poses[:, :3, :3]
        sight = dots.light.sight
        # A swung bar's dots fall on the pixels anew at every moment; only held ones do not.
        floor_px = DOT_FLOOR_PX if design.frames > 1 else 0.0
        cov = dots.cov_px2 / design.frames + floor_px**2 * np.eye(2)
        safe = np.where(dots.seen[..., None, None], cov, np.eye(2))
        white = np.linalg.inv(np.linalg.cholesky(safe)) * dots.seen[..., None, None]

        def whitened(of: Array) -> Array:
            """(C, N, L, 2, K) as lines (N, 2 C L, K)."""
            clean = white @ np.where(dots.seen[..., None, None], of, 0.0)
            return np.moveaxis(clean, 0, 1).reshape(rows, 2 * cameras * lights, of.shape[-1])

        own_columns = spread.columns.reshape(cameras, CAMERA_NUMBERS, -1)
        by_camera = np.concatenate([sight.by_camera, sight.by_lens], axis=-1)
        by_cameras = by_camera @ own_columns[:, None, None]
        arm = places_of_lights(thing, design.poses) - design.poses[:, None, :3, 3]
        by_light = np.zeros((*dots.seen.shape, 2, 3 * lights))
        for light in range(lights):
            moved = sight.by_point[:, :, light] @ turn[None] * thing.lights_std_m[light]
            by_light[:, :, light, :, 3 * light : 3 * light + 3] = moved
        by_own = np.concatenate([sight.by_point, -sight.by_point @ cross_matrix(arm)], axis=-1)
        point_std = float(thing.points_std_m[0])
        with np.errstate(divide="ignore"):
            axes = design.axes / design.axes_std_m[..., None]
            turned = 1.0 / design.turn_std_rad
        turned = turned * (lights < ENOUGH_LIGHTS)
        point_arm = np.einsum("nij,j->ni", turn, thing.point_m())
        held = np.concatenate([axes, -axes @ cross_matrix(point_arm)], axis=-1)
        facing = np.zeros((rows, 3, 6))
        facing[:, :, 3:] = np.diag(turned)
        many = 2 * cameras * lights
        count = spread.columns.shape[1]
        self.shared = np.zeros((rows, many + 6, count + 3 * lights + 3))
        self.shared[:, :many, :count] = whitened(by_cameras)
        self.shared[:, :many, count : count + 3 * lights] = whitened(by_light)
        self.shared[:, many : many + 3, count + 3 * lights :] = axes @ turn * point_std
        self.own = np.concatenate([whitened(by_own), held, facing], axis=1)
        self.lines_of = {
            "registration": np.arange(many + 3),
            "turning": np.arange(many + 3, many + 6),
        }


def _without_own(rows: _Rows) -> Array:
    """(N, R, S) the lines' dependence on the shared numbers once each row's pose is fitted."""
    normal = np.einsum("nra,nrb->nab", rows.own, rows.own)
    scale = np.sqrt(np.maximum(np.einsum("naa->na", normal), 1e-12))
    unit = normal / (scale[:, :, None] * scale[:, None, :])
    inverse = np.linalg.pinv(unit, rcond=1e-12, hermitian=True)
    inverse = inverse / (scale[:, :, None] * scale[:, None, :])
    gain = inverse @ np.einsum("nra,nrs->nas", rows.own, rows.shared)
    return np.asarray(rows.shared - rows.own @ gain)
