"""A bar filmed by two and three cameras: clocks, ends, places, and what goes wrong."""

import numpy as np
import pytest
from scipy import stats

from rushlight.errors import RushlightError
from rushlight.physics.geometry import invert_transform, rig_from_camera_looking_at
from rushlight.physics.geometry.rotation import pose_difference
from rushlight.register.space_bar import between, stretches
from rushlight.register.space_fit import doubts_of_places, register_swing
from rushlight.register.space_join import sampson, triangulated
from rushlight.register.space_moments import seen_swing
from rushlight.register.space_solve import known_beforehand


@pytest.fixture(scope="module")
def space(truth):
    return truth.space_of("choir-baton")


def registered(space, filmed, ids=("left", "right")):
    known = known_beforehand(space)
    seen = seen_swing(filmed, ids, known, doubts_of_places(space), 0.4)
    return register_swing(space, "0" * 64, seen, 4)


def error_of(found, cameras):
    made = found.registration
    lens = np.concatenate(
        [made.K[:, [0, 1], [0, 1]], made.K[:, :2, 2], made.k], axis=-1
    )  # fx fy cx cy and the five
    return np.concatenate(
        [pose_difference(cameras.pose, made.rig_from_camera), cameras.lens - lens], axis=-1
    ).reshape(-1)


def test_between_frames_the_ends_lie_on_their_path(truth, space):
    """Half-way between frames, against the path itself, to a hundredth of a pixel."""
    known = known_beforehand(space)
    exact = truth.filmed_swing(space, known.cameras, np.random.default_rng(1), noise_px=0.0)[0]
    whole = stretches(exact, 0)
    every_second = stretches(exact[::2], 0)
    assert len(whole) == len(every_second) == 1
    at = whole[0].time_s[31:-31:2]
    found = between(every_second[0], at)
    other = whole[0].px[31:-31:2]
    if np.linalg.norm(found.px[0, 0] - other[0, 0]) > 50.0:
        other = other[:, ::-1]
    assert np.max(np.abs(found.px - other)) < 0.05  # at 30 Hz; at 60 Hz a sixteenth of it
    assert np.all(np.isnan(between(every_second[0], np.array([-1.0, 99.0])).px))


def test_rays_of_one_point_lie_in_one_plane():
    rng = np.random.default_rng(2)
    one = rig_from_camera_looking_at([-1.0, 0.0, 0.0], [0.0, 0.0, 2.0])
    other = rig_from_camera_looking_at([1.0, 0.3, 0.0], [0.0, 0.0, 2.0])
    points = rng.uniform([-0.5, -0.5, 1.5], [0.5, 0.5, 2.5], (20, 3))
    rays = []
    for pose in (one, other):
        seen = (points - pose[:3, 3]) @ pose[:3, :3]
        rays.append(seen[:, :2] / seen[:, 2:])
    between_them = invert_transform(one) @ other
    np.testing.assert_allclose(sampson(*rays, between_them), 0.0, atol=1e-14)
    found = triangulated(*rays, between_them)
    np.testing.assert_allclose(found, (points - one[:3, 3]) @ one[:3, :3], atol=1e-12)


@pytest.mark.parametrize("seed", range(3))
def test_cameras_and_clock_from_a_swing(truth, space, seed):
    rng = np.random.default_rng(seed)
    known = known_beforehand(space)
    cameras = truth.true_cameras(known, rng)
    late = rng.uniform(-0.2, 0.2)
    found = registered(space, truth.filmed_swing(space, cameras, rng, late))
    made = found.registration
    assert made.verdict.vouched, made.verdict.reasons
    assert not found.findings
    square, ranks = truth.chi_square(error_of(found, cameras), made.cov_array)
    assert square < stats.chi2.ppf(0.999, ranks)
    right = made.cameras[1]
    assert abs(right.clock_offset_ns - late * 1e9) < 3.5 * right.clock_std_ns
    assert right.clock_std_ns < 1e5
    assert made.cameras[0].clock_offset_ns == 0
    assert made.rms_px == pytest.approx(made.expected_px, rel=0.25)
    assert made.lengths[0].agrees
    # The bar's length frame by frame, by the other frames: millimetres or less.
    left_over = np.array([row.off_mm for row in made.rows])
    assert np.sqrt(np.mean(left_over**2)) < 1.0


def test_a_break_in_the_view_does_not_disturb(truth, space):
    """One camera loses the bar twice; the ends are told apart anew each time."""
    rng = np.random.default_rng(5)
    cameras = truth.true_cameras(known_beforehand(space), rng)
    hidden = ((1, 3.0, 4.0), (0, 7.0, 7.5))
    found = registered(space, truth.filmed_swing(space, cameras, rng, 0.05, hidden=hidden))
    assert found.registration.verdict.vouched
    square, ranks = truth.chi_square(error_of(found, cameras), found.registration.cov_array)
    assert square < stats.chi2.ppf(0.999, ranks)


def test_a_camera_that_stands_elsewhere_is_found_and_told(truth, space):
    rng = np.random.default_rng(6)
    known = known_beforehand(space)
    step = np.zeros(30)
    step[15:21] = [0.02, 0.12, 0.02, 0.05, 0.25, 0.1]
    cameras = truth.true_cameras(known, rng).moved(step)
    found = registered(space, truth.filmed_swing(space, cameras, rng, -0.03))
    assert [each.code for each in found.findings] == ["camera-elsewhere"]
    assert found.registration.verdict.vouched
    error = error_of(found, cameras)
    std = np.sqrt(np.diag(found.registration.cov_array))
    assert np.all(np.abs(error[15:21]) < 4.0 * std[15:21])


def test_a_wrong_length_is_told_where_the_cameras_give_the_scale(truth, space):
    rng = np.random.default_rng(7)
    cameras = truth.true_cameras(known_beforehand(space), rng)
    found = registered(space, truth.filmed_swing(space, cameras, rng, length_m=0.5))
    verdict = found.registration.verdict
    assert not verdict.vouched
    assert any("apart where 400.0 mm were told" in reason for reason in verdict.reasons)
    assert found.registration.lengths[0].found_m == pytest.approx(0.5, abs=0.03)


def test_cameras_without_a_common_view_are_refused(truth, space):
    rng = np.random.default_rng(8)
    cameras = known_beforehand(space).cameras
    filmed = truth.filmed_swing(space, cameras, rng, hidden=((0, 0.0, 6.5), (1, 5.5, 99.0)))
    with pytest.raises(RushlightError, match="no view of the bar in common"):
        registered(space, filmed)


def test_a_camera_that_never_sees_the_bar_is_refused(truth, space):
    cameras = known_beforehand(space).cameras
    filmed = truth.filmed_swing(space, cameras, np.random.default_rng(9), hidden=((1, 0, 99),))
    with pytest.raises(RushlightError, match="camera right never sees both lights"):
        registered(space, filmed)


BOTH_BREAK = ((0, 3.0, 3.6), (2, 3.0, 3.6), (0, 7.5, 8.1), (2, 7.5, 8.1), (1, 10.0, 10.5))
"""Two cameras lose the bar at the same times; only the third tells how its ends went on."""


@pytest.mark.parametrize(
    "seed, hidden", [(10, ()), *((seed, BOTH_BREAK) for seed in range(10, 14))]
)
def test_three_cameras(truth, space, seed, hidden):
    """A third between the two: all are joined, the clocks alike."""
    rng = np.random.default_rng(seed)
    cameras = space.cameras
    fields = {}
    for name in vars(cameras):
        value = getattr(cameras, name)
        if isinstance(value, np.ndarray) and value.ndim > 1 and value.shape[1] == 2:
            fields[name] = np.concatenate([value, value[:, :1]], axis=1)
    pose = np.array(fields["rig_from_camera"])
    pose[0, 2] = rig_from_camera_looking_at([0.1, 1.9, -1.3], [0.0, 1.35, 0.5])
    wider = space.replace(
        cameras=cameras.replace(**(fields | {"rig_from_camera": pose})),
        camera_ids=("left", "right", "top"),
        lens_cov=space.lens_cov[[0, 1, 0]],
        placed_std_m=space.placed_std_m[[0, 1, 1]],
        turned_std_rad=space.turned_std_rad[[0, 1, 1]],
        focus_m=space.focus_m[[0, 1, 1]],
    )
    true = truth.true_cameras(known_beforehand(wider), rng)
    filmed = truth.filmed_swing(wider, true, rng, 0.07, hidden=hidden)
    found = registered(wider, filmed, wider.camera_ids)
    made = found.registration
    assert made.verdict.vouched
    square, ranks = truth.chi_square(error_of(found, true), made.cov_array)
    assert square < stats.chi2.ppf(0.999, ranks)
    for camera in made.cameras[1:]:
        assert abs(camera.clock_offset_ns - 0.07e9) < 4.0 * camera.clock_std_ns
