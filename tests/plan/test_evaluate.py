"""The evaluation of a batch: shapes, limits, and agreement of batches with single rigs."""

from __future__ import annotations

import numpy as np
import pytest

from rushlight.physics.geometry import rig_from_camera_looking_at
from rushlight.plan.evaluate import CHUNK_RIGS, evaluate
from rushlight.plan.grid import Standing, places_of_grid, with_fields
from rushlight.plan.light import FULLEST_PEAK, full_scale_e
from rushlight.plan.verdict import COARSE
from rushlight.records.figure import ERROR_CAUSES
from rushlight.records.resolved import stack_rigs

FEW = {"columns": 3, "rows": 2, "tilts": 2, "leans": 3}
STANDING = Standing(
    np.array([0.1, 1.2]), np.array([1.2, 2.3]), np.array([1.0, -1.0]), np.array([0, 1])
)


def looking(position) -> np.ndarray:
    return rig_from_camera_looking_at(position, [1.2, 0.75, 0.0])[None, None]


def test_causes_add_up_in_squares(wall) -> None:
    ev = evaluate(wall, **FEW)
    total = sum(ev.error_m[cause] ** 2 for cause in ERROR_CAUSES)
    np.testing.assert_allclose(ev.error_m["all"], np.sqrt(total))
    assert ev.error_m["all"].shape == (1, 2, 6)
    assert np.all(ev.error_m["all"] > 0)


def test_places_are_middles_of_equal_cells() -> None:
    places = places_of_grid(np.array([[3.0, 1.0]]), 3, 2)[0]
    np.testing.assert_allclose(places[0], [0.5, 0.25])
    np.testing.assert_allclose(places[1], [1.5, 0.25])
    np.testing.assert_allclose(places.mean(axis=0), [1.5, 0.5])


def test_a_cause_taken_away_contributes_nothing(make_wall) -> None:
    rig = make_wall(flatness_m=[0.0], distortion_std=[[[0.0] * 5]])
    ev = evaluate(rig, **FEW)
    np.testing.assert_allclose(ev.error_m["flatness"], 0.0, atol=1e-12)
    np.testing.assert_allclose(ev.error_m["lens"], 0.0, atol=1e-12)
    assert np.all(ev.error_m["registration"] > 0)


def test_a_light_at_the_very_tip_leaves_no_tip_error(make_wall) -> None:
    ev = evaluate(make_wall(position_m=[[[0.0, 0.0, 1e-6]] * 2]), **FEW)
    assert np.all(ev.error_m["tip"] < 1e-5)


def test_a_mean_offset_common_to_all_touches_is_absorbed(make_wall) -> None:
    """One way of holding, one stylus: the registration takes the offset up."""
    rig = make_wall(
        tilt_rad=[[np.radians([25.0, 25.0])] * 2],
        lean_std_rad=[[0.0, 0.0]],
        lean_rad=[[0.3, 0.3]],
    )
    ev = evaluate(rig, **FEW, registering=(0,))
    assert np.all(ev.error_m["tip"] < 1e-4)
    # Another stylus leaning the other way is not taken up by that registration.
    other = with_fields(rig, emitters={"lean_rad": np.array([[0.3, 0.3 + np.pi]])})
    apart = evaluate(other, **FEW, registering=(0,))
    assert np.all(apart.error_m["tip"][0, 1] > 1e-3)


def test_more_touches_lower_the_registration_error(wall) -> None:
    once = evaluate(wall, **FEW)
    twice = evaluate(wall, beacons_m=np.tile(once.beacons_m, (1, 2, 1)), **FEW)
    ratio = twice.error_m["registration"] / once.error_m["registration"]
    assert np.all(ratio < 0.85)
    assert np.all(ratio > 0.6)


def test_exposure_keeps_the_brightest_peak_below_the_limit(wall) -> None:
    ev = evaluate(wall)
    assert ev.grey_peak.max() <= FULLEST_PEAK
    assert ev.grey_peak.max() > 0.9 * FULLEST_PEAK  # rounded down to two digits
    assert not ev.saturated.any()
    assert not ev.weak.any()
    np.testing.assert_allclose(full_scale_e(wall, 0), 10_000.0)


def test_a_given_exposure_is_evaluated_as_given(wall) -> None:
    ev = evaluate(wall.with_exposure(np.array([[4e-3]])), **FEW)
    assert ev.exposure_s[0, 0] == 4e-3
    assert ev.saturated.all()
    assert ev.coverage[0] == 0.0


def test_too_little_light_is_said(make_wall) -> None:
    ev = evaluate(make_wall(intensity_w_sr=[[3e-8, 3e-8]]), **FEW)
    assert ev.exposure_s[0, 0] == pytest.approx(1 / 60, rel=0.05)
    assert ev.weak.all()


def test_too_much_light_stops_at_the_shortest_exposure(make_wall) -> None:
    ev = evaluate(make_wall(intensity_w_sr=[[3.0, 3.0]]), **FEW)
    assert ev.exposure_s[0, 0] == pytest.approx(20e-6)
    assert ev.saturated.any()


def test_a_camera_that_looks_away_registers_nothing(make_wall) -> None:
    away = rig_from_camera_looking_at([1.2, 1.5, 2.7], [1.2, 1.5, 5.0])[None, None]
    ev = evaluate(make_wall(rig_from_camera=away), **FEW)
    assert not ev.in_view.any()
    assert not ev.registerable[0]
    assert np.all(np.isnan(ev.error_m["all"]))
    assert ev.coverage[0] == 0.0


def test_a_camera_that_sees_half_covers_about_half(make_wall) -> None:
    near = rig_from_camera_looking_at([0.3, 0.75, 2.2], [0.3, 0.75, 0.0])[None, None]
    ev = evaluate(make_wall(rig_from_camera=near), columns=8, rows=4)
    assert 0.3 < ev.in_view.mean() < 0.9


def test_batch_equals_single_rigs(make_wall) -> None:
    rigs = [
        make_wall(),
        make_wall(rig_from_camera=looking([0.4, 1.8, 2.9]), flatness_m=[0.001]),
        make_wall(touch_std_m=[[0.003, 0.001]]),
    ]
    whole = evaluate(stack_rigs(rigs), **FEW)
    for index, rig in enumerate(rigs):
        alone = evaluate(rig, **FEW)
        np.testing.assert_allclose(whole.error_m["all"][index], alone.error_m["all"][0], rtol=1e-9)
        np.testing.assert_allclose(whole.grey_peak[index], alone.grey_peak[0], rtol=1e-9)
        assert whole.coverage[index] == alone.coverage[0]


def test_long_batches_go_in_chunks(make_wall) -> None:
    rig = make_wall()
    ev = evaluate(stack_rigs([rig] * (CHUNK_RIGS + 3)), columns=2, rows=1, tilts=1, leans=1)
    assert ev.coverage.shape == (CHUNK_RIGS + 3,)
    np.testing.assert_allclose(ev.error_m["all"], ev.error_m["all"][:1].repeat(len(ev.coverage), 0))


def test_few_nodes_agree_with_many(wall) -> None:
    """What searching uses stands within a few per cent of the finer evaluation."""
    fine, coarse = evaluate(wall), evaluate(wall, **COARSE)
    ratio = coarse.overall_error_m()[0] / fine.overall_error_m()[0]
    assert ratio == pytest.approx(1.0, abs=0.05)


def test_the_better_of_two_cameras_is_told(make_wall) -> None:
    """A second camera, far worse, changes nothing where the first sees."""
    one = make_wall()
    cameras = {
        name: np.concatenate([value, value], axis=1) for name, value in vars(one.cameras).items()
    }
    cameras["read_noise_e"] = np.array([[6.0, 500.0]])
    cameras["distortion_std"] = np.concatenate(
        [one.cameras.distortion_std, 20 * one.cameras.distortion_std], axis=1
    )
    both = with_fields(one, cameras=cameras)
    ev = evaluate(both, **FEW)
    assert np.all(ev.camera == 0)
    np.testing.assert_allclose(ev.error_m["all"], evaluate(one, **FEW).error_m["all"])
    assert ev.exposure_s.shape == (1, 2)


def test_a_body_in_the_way_hides_places(make_wall) -> None:
    """A camera low behind a person who may not step aside loses the places before them."""
    low = looking([0.9, 0.75, 2.7])
    rig = make_wall(rig_from_camera=low)
    still = Standing(np.array([0.9, 5.0]), np.array([0.9, 5.0]), np.ones(2), np.array([0, 1]))
    ev = evaluate(rig, standing=still, columns=6, rows=4)
    assert ev.hidden[0, 0].any()
    assert not ev.hidden[0, 1].any()
    assert ev.coverage[0] < 1.0


def test_reach_bounds_places(wall) -> None:
    ev = evaluate(wall, standing=STANDING)
    places = ev.places_m[0]
    assert not ev.reached[0, 0][places[:, 0] > 2.1].any()
    assert ev.reached[0, 0].any()


def test_an_empty_grid_is_refused(wall) -> None:
    with pytest.raises(ValueError, match="columns and rows"):
        evaluate(wall, columns=0)
