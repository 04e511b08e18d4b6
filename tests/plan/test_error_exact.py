"""The error budget against draws that are projected exactly: no formula checks itself.

Each draw bends the lens or the wall for real, projects every light through the bent lens with a
library's own projection, maps the pixels back with the nominal lens, and corrects by the
estimate. Only the estimator (what the touches tell) is shared with the budget.
"""

from __future__ import annotations

import numpy as np
import pytest

from rushlight.physics.geometry import flatness_modes, invert_transform, ray_on_plane, undistort_px
from rushlight.physics.surface_model import bend_amplitudes, edge_to_edge
from rushlight.plan.evaluate import evaluate
from rushlight.plan.spread import distances, quantile_spread, rms_spread
from rushlight.records.figure import ERROR_CAUSES

cv2 = pytest.importorskip("cv2")
DRAWS = 150


def seen_at(rig, points_m, k) -> np.ndarray:
    """Places (N, 2) on the plane where a map of the nominal lens puts points (N, 3)."""
    c = rig.cameras
    camera_from_rig = invert_transform(c.rig_from_camera[0, 0])
    turn, _ = cv2.Rodrigues(camera_from_rig[:3, :3])
    px, _ = cv2.projectPoints(points_m, turn, camera_from_rig[:3, 3], c.K[0, 0], k)
    normalised = undistort_px(px[:, 0, :], c.K[0, 0], c.distortion[0, 0])
    return ray_on_plane(normalised, c.rig_from_camera[0, 0])


def left_over(rig, ev, displaced) -> np.ndarray:
    """Root-mean-square over draws (G,) of what the touches do not take up.

    `displaced(points (N, 2), rng)` is a function of one draw: exact displacements (N, 2).
    """
    field = ev.views[0].error
    places, beacons = ev.places_m[0], ev.beacons_m[0]
    rng = np.random.default_rng(11)
    square = np.zeros(len(places))
    for _ in range(DRAWS):
        moved = displaced(np.concatenate([places, beacons]), rng)
        at, touches = moved[: len(places)], moved[len(places) :]
        told = np.tile(touches, (rig.emitters.duty.shape[1], 1))
        taken_up = field.solved.transferred_error(field.design_at, told[None])[0]
        square += np.sum((at - taken_up) ** 2, axis=-1)
    return np.sqrt(square / DRAWS)


def test_lens_left_over(wall) -> None:
    ev = evaluate(wall, columns=4, rows=3, tilts=2, leans=3)
    nominal, std = wall.cameras.distortion[0, 0], wall.cameras.distortion_std[0, 0]

    def bent(places, rng):
        flat = np.concatenate([places, np.zeros((len(places), 1))], axis=-1)
        return seen_at(wall, flat, nominal + std * rng.standard_normal(5)) - places

    found = left_over(wall, ev, bent)
    predicted = ev.error_m["lens"][0, 0]
    # Root-mean-square over the places: 150 draws of two coefficients, 12 % is three of its std.
    assert np.sqrt(np.mean(found**2)) == pytest.approx(np.sqrt(np.mean(predicted**2)), rel=0.15)


def test_flatness_left_over(wall) -> None:
    ev = evaluate(wall, columns=4, rows=3, tilts=2, leans=3)
    size, nominal = wall.surface.size_m[0], wall.cameras.distortion[0, 0]
    amplitudes = bend_amplitudes(wall.surface.flatness_m[0])

    def bent(places, rng):
        bends = amplitudes * rng.standard_normal(7)
        height = flatness_modes(edge_to_edge(places, size)) @ bends
        raised = np.concatenate([places, height[:, None]], axis=-1)
        return seen_at(wall, raised, nominal) - places

    found = left_over(wall, ev, bent)
    predicted = ev.error_m["flatness"][0, 0]
    assert np.sqrt(np.mean(found**2)) == pytest.approx(np.sqrt(np.mean(predicted**2)), rel=0.15)


def test_registration_noise(wall) -> None:
    """Touches scattered by hand alone: transferred by the gain, in agreement with the budget."""
    ev = evaluate(wall, columns=4, rows=3, tilts=2, leans=3)
    field = ev.views[0].error
    rng = np.random.default_rng(5)
    root = np.linalg.cholesky(field.touch_cov_m2[0])
    square = 0.0
    for _ in range(1000):
        touch = np.matvec(root, rng.standard_normal((len(root), 2)))
        square = square + np.sum(
            field.solved.transferred_error(field.design_at, touch[None])[0] ** 2, axis=-1
        )
    np.testing.assert_allclose(np.sqrt(square / 1000), ev.error_m["registration"][0, 0], rtol=0.12)


@pytest.mark.parametrize("cause", [*ERROR_CAUSES, "all"])
def test_draws_agree_with_the_budget(wall, cause) -> None:
    ev = evaluate(wall, columns=4, rows=3, tilts=2, leans=3)
    own = distances(ev, cause)
    expected = float(np.sqrt(np.mean(ev.error_m[cause] ** 2)))
    assert np.sqrt(np.mean(own**2)) == pytest.approx(expected, rel=0.08)
    spread = rms_spread(own, expected)
    assert spread.low <= expected * 1.001
    assert spread.high >= expected * 0.999
    middle = quantile_spread(own, 0.5)
    assert middle.low <= middle.value <= middle.high


def test_draws_are_the_same_every_time(wall) -> None:
    ev = evaluate(wall, columns=2, rows=2, tilts=1, leans=1)
    assert np.array_equal(distances(ev, "all", 20), distances(ev, "all", 20))
