"""The swift evaluation against the full one, on random rigs; all values invented."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from tests.once import once

from rushlight.physics.geometry import camera_matrix, rig_from_camera_looking_at
from rushlight.physics.light import beam_exponent
from rushlight.plan.beacons import choose_beacons, evaluate_registered
from rushlight.plan.candidates import Candidates
from rushlight.plan.delay import delay_budget
from rushlight.plan.evaluate import evaluate
from rushlight.plan.grid import Standing, inset_ring, with_fields
from rushlight.plan.swift import LOSSES, SwiftEvaluator, swift_evaluate
from rushlight.records.figure import ERROR_CAUSES
from rushlight.records.resolved import ResolvedCameras, ResolvedRig, stack_rigs

RIGS = 84
PLACES = {"columns": 6, "rows": 4}
"""Of each rig: rigs differ more than the places on one, and every place costs a fit."""
PICTURES_PX = ((640, 480), (1280, 720), (1280, 960), (320, 240))
STANDING = Standing(
    np.array([0.1, 1.2]), np.array([1.2, 2.3]), np.array([1.0, -1.0]), np.array([0, 1])
)


def random_rig(rng: np.random.Generator, make_wall):
    """A rig of any sort: walls, cameras, lenses, sensors, styli and streams differ."""
    size = rng.uniform([1.2, 0.8], [3.0, 1.8])
    width, height = PICTURES_PX[rng.integers(len(PICTURES_PX))]
    focal_px, pitch = width * rng.uniform(0.65, 1.1), rng.uniform(2.2e-6, 6e-6)
    away = size[0] * focal_px / width * rng.uniform(1.05, 1.7)
    place = [size[0] * rng.uniform(-0.1, 1.1), size[1] * rng.uniform(0.6, 1.3), away]
    aim = [size[0] * rng.uniform(0.4, 0.6), size[1] * rng.uniform(0.4, 0.6), 0.0]
    above, full_well = rng.uniform(0.005, 0.014), rng.uniform(4e3, 2e4)
    doubt = [0.02, 0.02, 1e-3, 1e-3, 0.01] if rng.random() < 0.5 else [0.02, 0.02, 0, 0, 0]
    rig = make_wall(
        size_m=[size],
        K=camera_matrix(focal_px, [width / 2 - 0.5, height / 2 - 0.5])[None, None],
        size_px=[[[width, height]]],
        focal_m=[[focal_px * pitch]],
        pixel_m=[[pitch]],
        f_number=[[rng.uniform(1.6, 3.5)]],
        blur_px=[[rng.uniform(0.4, 1.0)]],
        distortion=[[[rng.uniform(-0.12, 0.05), rng.uniform(-0.02, 0.02), 1e-3, -1e-3, 0.0]]],
        distortion_std=[[doubt]],
        rig_from_camera=rig_from_camera_looking_at(place, aim)[None, None],
        position_m=[[[0, 0, above], [*rng.uniform(-0.003, 0.003, 2), 1.2 * above]]],
        axis=[[[0, 0, -1.0], [0, 0, 1.0] if rng.random() < 0.15 else [0.0, 0.3, -0.954]]],
        side_share=[rng.uniform(0.05, 0.9, 2)],
        exponent=[beam_exponent(np.radians(rng.uniform(15.0, 60.0, 2)))],
        intensity_w_sr=[rng.uniform(0.003, 0.06, 2)],
        reflectance=[rng.uniform(0.3, 0.9)],
        flatness_m=[rng.uniform(0.0, 0.005)],
        read_noise_e=[[rng.uniform(2.0, 12.0)]],
        full_well_e=[[full_well]],
        gain_e_per_dn=[[full_well / 250.0]],
        ambient_w_m2=[rng.uniform(0.0, 0.2)],
        frame_rate_hz=[[rng.choice([30.0, 60.0, 120.0])]],
        worst_error_m=[rng.uniform(0.002, 0.01)],
    )
    shift = np.array([[[3.0, 3.0, 3.0, 4.0, 5.0]]]) * (rng.random() < 0.3)
    stream = {"stream_shift_dn_px": shift, "stream_stays": np.array([[0.5]])}
    return with_fields(rig, cameras=stream)


def as_ring(rigs: ResolvedRig) -> dict[str, np.ndarray]:
    """The beacons of the full evaluation, where it is told of none."""
    return {"beacons_m": inset_ring(rigs.surface.size_m)}


@pytest.fixture(scope="module")
def both(make_wall, tmp_path_factory):
    """Random rigs, the full evaluation of them, and the swift one at the same exposures."""
    rng = np.random.default_rng(11)
    rigs = stack_rigs([random_rig(rng, make_wall) for _ in range(RIGS)])
    _, full = once(
        tmp_path_factory, "full-plans", lambda _: evaluate(rigs, standing=STANDING, **PLACES)
    )
    same = Candidates.of(rigs.with_exposure(full.exposure_s))
    return rigs, full, swift_evaluate(same, standing=STANDING, **as_ring(rigs), **PLACES)


def rms_in_view(full, cause: str) -> np.ndarray:
    """Root-mean-square (R,) of a cause over lights and places in view."""
    square = np.where(full.in_view, full.error_m[cause] ** 2, 0.0)
    return np.sqrt(square.sum(axis=(1, 2)) / full.in_view.sum(axis=(1, 2)))


def test_errors_agree_within_one_part_in_a_hundred(both) -> None:
    _, full, swift = both
    sure = ~swift.doubtful & full.registerable & ~swift.full
    assert sure.sum() >= 40
    ratio = swift.error_rms_m / full.overall_error_m()
    np.testing.assert_allclose(ratio[sure], 1.0, atol=0.01)
    assert np.median(np.abs(ratio[sure] - 1.0)) < 1e-3
    # Where dots part or are wide, the closed forms are said to err, and err little.
    np.testing.assert_allclose(ratio[swift.doubtful & full.registerable], 1.0, atol=0.1)


def test_every_cause_agrees(both) -> None:
    _, full, swift = both
    sure = ~swift.doubtful & full.registerable & ~swift.full
    whole = full.overall_error_m()
    for cause in ERROR_CAUSES:
        apart = swift.cause_rms_m[cause] - rms_in_view(full, cause)
        assert np.max(np.abs(apart / whole)[sure]) < 0.01, cause


def test_lost_places_agree_away_from_limits(both) -> None:
    rigs, full, swift = both
    goal = rigs.targets.worst_error_m[:, None, None]
    with np.errstate(invalid="ignore"):
        too_far = full.in_view & (full.error_m["all"] > goal)
        near_goal = np.abs(full.error_m["all"] / goal - 1.0) < 0.03
    unsure = np.broadcast_to(swift.doubtful[:, None, None], full.in_view.shape)
    near_weak = np.abs(full.peak_over_noise / 10.0 - 1.0) < 0.1
    near_full = np.abs(full.grey_peak - 1.0) < 0.03
    for name, wanted, close in (
        ("out of view", ~full.in_view, np.zeros_like(near_goal)),
        ("hidden", full.hidden & full.in_view, np.zeros_like(near_goal)),
        ("out of reach", ~full.reached, np.zeros_like(near_goal)),
        ("saturated", full.saturated, near_full | unsure),
        ("weak", full.weak, near_weak | unsure | (np.abs(full.stream_px / 0.25 - 1.0) < 0.1)),
        ("inaccurate", too_far, near_goal | unsure),
    ):
        found = (swift.lost & LOSSES[name]) > 0
        assert wanted.any() or name == "saturated", name
        assert not np.any((found != wanted) & ~close), name
    parted = (swift.lost & LOSSES["parted"]) > 0
    assert full.parted.any()
    assert np.mean(parted != full.parted) < 0.05
    assert not np.any(parted[~swift.doubtful] | full.parted[~swift.doubtful])


def test_exposures_are_the_same(both) -> None:
    """But for a few: rounded down to two digits, they jump where the light hardly differs."""
    rigs, full, _ = both
    swift = swift_evaluate(Candidates.of(rigs), standing=STANDING, **as_ring(rigs), **PLACES)
    ratio = (swift.exposure_s / full.exposure_s[:, 0])[~swift.doubtful]
    assert np.mean(np.abs(ratio - 1.0) < 1e-9) > 0.9
    np.testing.assert_allclose(ratio, 1.0, atol=0.101)


def test_a_given_exposure_is_kept_and_saturates(wall) -> None:
    bright = wall.with_exposure(np.array([[2e-3]]))
    swift = swift_evaluate(Candidates.of(bright), **as_ring(bright))
    full = evaluate(bright)
    assert swift.exposure_s[0] == 2e-3
    saturated = (swift.lost & LOSSES["saturated"]) > 0
    assert saturated.any()
    np.testing.assert_array_equal(saturated, full.saturated)


def test_candidates_placed_are_the_rigs_themselves(wall) -> None:
    """Poses and drives on one row of parts: the same as resolving every rig of its own."""
    rng = np.random.default_rng(3)
    poses = np.stack(
        [
            rig_from_camera_looking_at(rng.uniform([0.2, 1, 2], [2.2, 2, 3]), [1.2, 0.75, 0.0])
            for _ in range(5)
        ]
    )
    drive = rng.uniform(0.5, 1.0, (5, 2))
    candidates = Candidates.placed(wall, np.zeros(5, int), poses, drive=drive)
    swift = swift_evaluate(candidates, **as_ring(wall))
    apart = swift_evaluate(Candidates.of(candidates.resolved()), **as_ring(candidates.resolved()))
    # Dots are fitted in single precision; a light that rounds otherwise may take the next row of
    # the weights' table.
    np.testing.assert_allclose(swift.error_m, apart.error_m, rtol=5e-4)
    np.testing.assert_array_equal(swift.lost, apart.lost)
    full = evaluate(candidates.resolved())
    np.testing.assert_allclose(swift.error_rms_m, full.overall_error_m(), rtol=0.01)
    one = SwiftEvaluator(candidates, **as_ring(wall))(candidates.take(np.array([3])))
    np.testing.assert_array_equal(one.error_m[0], swift.error_m[3])


def test_the_delay_is_the_full_evaluations(wall) -> None:
    swift = swift_evaluate(Candidates.of(wall))
    total = delay_budget(wall, swift.exposure_s).total_mean_s
    np.testing.assert_allclose(swift.delay_s, total)


def test_a_camera_that_looks_away_loses_all(make_wall) -> None:
    away = rig_from_camera_looking_at([1.2, 0.75, 2.0], [1.2, 0.75, 9.0])
    swift = swift_evaluate(Candidates.of(make_wall(rig_from_camera=away[None, None])))
    assert swift.coverage[0] == 0.0
    assert np.isnan(swift.error_rms_m[0])
    assert not swift.registerable[0]
    assert swift.reasons[0] & LOSSES["out of view"]


def test_several_cameras_are_left_to_the_full_evaluation(wall) -> None:
    cameras = wall.cameras
    both_cameras = {name: np.repeat(value, 2, axis=1) for name, value in vars(cameras).items()}
    pair = dataclasses.replace(wall, cameras=ResolvedCameras(**both_cameras))
    swift = swift_evaluate(Candidates.of(pair))
    assert swift.full.all()
    whole = evaluate_registered(pair, 9, 6, Standing.unknown(pair))
    np.testing.assert_allclose(swift.error_rms_m, whole.overall_error_m())


def test_doubtful_candidates_fall_back_when_told(both) -> None:
    rigs, full, swift = both
    which = np.flatnonzero(swift.doubtful)[:2]
    some = Candidates.of(rigs.take(which))
    told = as_ring(rigs.take(which)) | PLACES
    again = swift_evaluate(some, standing=STANDING, fall_back=True, **told)
    assert again.full.all()
    assert not again.doubtful.any()
    np.testing.assert_allclose(again.error_rms_m, full.overall_error_m()[which], rtol=1e-9)
    np.testing.assert_array_equal(again.coverage, full.coverage[which])


@pytest.mark.parametrize("registering", [None, (0,)])
def test_a_fit_that_ends_in_no_number_is_left_to_the_full_evaluation(
    make_wall, registering
) -> None:
    """So faint a second light is lost to single precision, yet none of its places may be dropped,
    nor may the registration seem to fail."""
    faint = make_wall(intensity_w_sr=[[0.03, 1e-8]])
    swift = swift_evaluate(Candidates.of(faint), registering=registering, **as_ring(faint))
    full = evaluate(faint, registering=registering)
    assert full.registerable.all()
    assert swift.full.all()
    assert swift.registerable.all()
    np.testing.assert_allclose(swift.error_rms_m, full.overall_error_m(), rtol=1e-9)


def test_a_dark_light_is_weak_everywhere(make_wall) -> None:
    swift = swift_evaluate(Candidates.of(make_wall(intensity_w_sr=[[0.03, 0.0]])), registering=(0,))
    assert swift.registerable.all()
    assert np.all(swift.lost[:, 1] & LOSSES["weak"])
    assert not np.any(swift.lost[:, 0] & LOSSES["weak"])


def test_a_dark_light_spoils_nothing_of_the_others(make_wall) -> None:
    """Its touches are unseen; the other light's registration, errors and causes stay known."""
    dark = make_wall(intensity_w_sr=[[0.03, 0.0]])
    swift, full = swift_evaluate(Candidates.of(dark), **as_ring(dark)), evaluate(dark)
    assert not swift.full.any()
    assert swift.registerable.all()
    assert full.registerable.all()
    np.testing.assert_allclose(swift.error_rms_m, full.overall_error_m(), rtol=0.01)
    np.testing.assert_array_equal(np.isnan(swift.error_m[:, 1]), True)
    causes = np.stack(list(swift.cause_rms_m.values()))
    np.testing.assert_allclose(np.sqrt(np.sum(causes**2, axis=0)), swift.error_rms_m, rtol=1e-6)


@pytest.fixture(scope="module")
def chosen(both, tmp_path_factory):
    """The rigs, planned each with the beacons that are chosen for it, and swiftly with its own."""
    rigs, _, _ = both
    _, full = once(
        tmp_path_factory,
        "registered-plans",
        lambda _: evaluate_registered(rigs, standing=STANDING, **PLACES),
    )
    same = Candidates.of(rigs.with_exposure(full.exposure_s))
    return full, swift_evaluate(same, standing=STANDING, **PLACES)


def test_beacons_chosen_swiftly_are_nearly_as_good_as_the_plans(chosen) -> None:
    full, swift = chosen
    sure = full.registerable & swift.registerable & ~swift.doubtful & ~swift.full
    ratio = (swift.error_rms_m / full.overall_error_m())[sure]
    assert sure.sum() >= 40
    assert abs(np.median(ratio) - 1.0) < 0.03
    assert ratio.min() > 0.92
    assert ratio.max() < 1.12
    assert swift.registerable[full.registerable].all()


def test_beacons_go_where_they_are_seen(wall) -> None:
    """A beacon that no light shows is no reason for an error that a plan would not tell."""
    rng = np.random.default_rng(8)
    aside = rng.uniform([0.0, 0.0, 0.0], [2.4, 1.5, 0.0], (24, 3))
    poses = np.stack([rig_from_camera_looking_at([1.2, 1.55, 2.0], aim) for aim in aside])
    candidates = Candidates.placed(wall, np.zeros(24, int), poses)
    standing = Standing.unknown(wall)
    swift = swift_evaluate(candidates, standing=standing, **PLACES)
    anyhow = swift_evaluate(candidates, standing=standing, **as_ring(wall), **PLACES)
    full = evaluate_registered(candidates.resolved(), standing=standing, **PLACES)
    ratio = swift.error_rms_m / full.overall_error_m()
    assert full.registerable.all()
    assert swift.registerable.all()
    np.testing.assert_allclose(ratio, 1.0, atol=0.05)
    # Three by three as they are, some of them unseen, maps are drawn on beyond the others.
    assert np.sum(anyhow.error_rms_m > 1.3 * full.overall_error_m()) >= 6
    # One candidate does not move the beacons of the next.
    again = swift_evaluate(candidates.take(np.arange(24)[::-1]), standing=standing, **PLACES)
    np.testing.assert_array_equal(again.error_m[::-1], swift.error_m)


def test_beacons_go_where_they_are_reached(make_wall) -> None:
    """Of a tall wall a child reaches the lower part alone: beacons stay there, as in the plan."""
    tall = make_wall(size_m=[[2.4, 2.6]], reach_m=[[0.55, 0.55]])
    standing = Standing.unknown(tall)
    candidates = Candidates.of(tall)
    swift = swift_evaluate(candidates, standing=standing)
    anyhow = swift_evaluate(candidates, standing=standing, **as_ring(tall))
    full = evaluate_registered(tall, 9, 6, standing)
    assert full.beacons_m[..., 1].max() < 2.2
    assert swift.error_rms_m[0] > 1.05 * anyhow.error_rms_m[0]
    np.testing.assert_allclose(swift.error_rms_m, full.overall_error_m(), rtol=0.2)


def test_other_rows_are_refused(wall, make_wall) -> None:
    evaluator = SwiftEvaluator(Candidates.of(wall))
    with pytest.raises(ValueError, match="other rows"):
        evaluator(Candidates.of(make_wall()))
    with pytest.raises(ValueError, match="must lie between"):
        Candidates.placed(wall, [1], np.eye(4)[None])
    with pytest.raises(ValueError, match="shape"):
        Candidates.placed(wall, [0], np.eye(4)[None, None, None])
    with pytest.raises(ValueError, match="columns and rows"):
        swift_evaluate(Candidates.of(wall), columns=0)


def test_beacons_that_nobody_reaches_are_not_touched(make_wall) -> None:
    """Six places in one row are all that is both reached and seen: no map comes of them."""
    tall = make_wall(size_m=[[2.4, 2.6]], reach_m=[[0.55, 0.55]])
    pose = rig_from_camera_looking_at([0.74, 1.55, 2.73], [1.19, 2.19, 0.0])
    candidates = Candidates.placed(tall, np.zeros(1, int), pose[None])
    standing = Standing.unknown(tall)
    swift = swift_evaluate(candidates, standing=standing)
    anyhow = swift_evaluate(candidates, standing=standing, **as_ring(tall))
    assert swift.error_rms_m[0] > 1.5 * anyhow.error_rms_m[0]
    # Nor does the full evaluation come to grief over it, or one that nobody registers.
    assert not choose_beacons(candidates.resolved(), standing, (0, 1))[1]
    full = evaluate_registered(candidates.resolved(), 9, 6, standing)
    np.testing.assert_allclose(swift.error_rms_m, full.overall_error_m(), rtol=0.25)


def test_a_corner_that_one_light_shows_stays_a_beacon(make_wall) -> None:
    """Of two styli one is hidden at a corner: the other is touched there, not both further in."""
    wall = make_wall(breadth_m=[[0.9, 0.45]])
    rng = np.random.default_rng(2)
    at = rng.uniform([0.3, 0.9, 2.3], [2.1, 1.6, 2.9], (24, 3))
    aims = rng.uniform([0.8, 0.5, 0.0], [1.6, 1.0, 0.0], (24, 3))
    poses = np.stack([rig_from_camera_looking_at(*each) for each in zip(at, aims, strict=True)])
    candidates = Candidates.placed(wall, np.zeros(24, int), poses)
    standing = Standing.unknown(wall)
    swift = swift_evaluate(candidates, standing=standing, **PLACES)
    full = evaluate_registered(candidates.resolved(), standing=standing, **PLACES)
    worst = np.nanmax(np.where(full.in_view, full.error_m["all"], np.nan), axis=(1, 2))
    sure = full.registerable & ~swift.doubtful & ~swift.full
    assert sure.sum() >= 15
    assert np.max(swift.worst_m[sure] / worst[sure]) < 1.3
