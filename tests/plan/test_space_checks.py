"""What checks without truth are expected to find, beside drawn builds met point by point."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from rushlight.cli import main
from rushlight.jobs.load import load_rig
from rushlight.physics.geometry.rotation import pose_moved
from rushlight.physics.geometry.sight import sight_of
from rushlight.physics.geometry.triangulate import triangulate
from rushlight.physics.sighting import INTERPUPILLARY_M
from rushlight.plan.space_checks import check_figures
from rushlight.plan.space_design import screen_frame, swing_of
from rushlight.plan.space_evaluate import evaluate_space
from rushlight.plan.space_figures import space_figures
from rushlight.plan.space_light import space_dots, space_light
from rushlight.shelf.resolve_space import resolve_space

SCENARIOS = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios"
BUILDS = 120


@pytest.fixture(scope="module")
def evaluation():
    return evaluate_space(resolve_space(*load_rig(SCENARIOS / "choir-baton")), (2, 2, 2), 4)


def figure(figures, name, statistic, carried="rod"):
    return next(
        f for f in figures if (f.name, f.statistic, f.scope.carried) == (name, statistic, carried)
    )


def test_lengths_and_misses_of_drawn_builds(evaluation):
    """Lights, cameras and dots are drawn, and ends met by the solver that is not linear."""
    space, known = evaluation.space, evaluation.known
    bar, rng = space.scale_bar, np.random.default_rng(3)
    poses = swing_of(bar).poses
    dots = space_dots(space, space_light(space, bar, poses), evaluation.exposure_s)
    seen = np.moveaxis(dots.seen, 0, 2)  # (N, L, C)
    both = (seen.sum(axis=-1) >= 2).all(axis=-1)
    c = space.cameras
    K, k, stand = c.K[0], c.distortion[0], c.rig_from_camera[0]
    told = np.linalg.norm(bar.lights_m[1] - bar.lights_m[0])
    by_others = sum(known.cov.values())
    values, vectors = np.linalg.eigh(by_others)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    off, miss, means, worst = [], [], [], []
    for _ in range(BUILDS):
        unit = rng.standard_normal((2, 3))
        wrong = root @ rng.standard_normal(len(root)) + known.by_lights @ unit.ravel()
        wrong = wrong.reshape(len(K), 15)
        lights = bar.lights_m + bar.lights_std_m[:, None] * unit
        places = poses[:, None, :3, 3] + np.einsum("nij,lj->nli", poses[:, :3, :3], lights)
        true = sight_of(places[:, :, None], K, k, stand).px
        noise = np.linalg.cholesky(np.moveaxis(dots.cov_px2, 0, 2))
        noise = np.where(seen[..., None, None], noise, 0.0)
        px = true + np.einsum("nlcij,nlcj->nlci", noise, rng.standard_normal(true.shape))
        px = np.where(seen[..., None], px, np.nan)
        # What is registered is off from what is true by what is drawn.
        K_off, k_off = K.copy(), k + wrong[:, 10:]
        for at, (row, column) in enumerate(((0, 0), (1, 1), (0, 2), (1, 2))):
            K_off[:, row, column] += wrong[:, 6 + at]
        stand_off = pose_moved(stand, wrong[:, :6])
        point = triangulate(px, np.eye(2) * 0.01 + 0.0 * px[..., None], K_off, k_off, stand_off)
        length = np.linalg.norm(point.point_m[:, 1] - point.point_m[:, 0], axis=-1)[both] - told
        left = px - sight_of(point.point_m[:, :, None], K_off, k_off, stand_off).px
        off.append(length)
        means.append(length.mean())
        worst.append(np.abs(length).max())
        miss.append(np.sum(left[np.isfinite(left).all(axis=-1)] ** 2, axis=-1))
    figures = check_figures(evaluation)
    rms = 1e3 * np.sqrt(np.mean(np.square(off)))
    assert figure(figures, "length-error", "rms").value == pytest.approx(rms, rel=0.15)
    mean = figure(figures, "length-error", "mean")
    assert mean.value == 0.0
    assert mean.high == pytest.approx(1.96e3 * np.std(means), rel=0.25)
    assert figure(figures, "length-error", "max").value == pytest.approx(
        1e3 * np.median(worst), rel=0.2
    )
    left = np.sqrt(np.mean(np.concatenate(miss)))
    assert figure(figures, "reprojection", "rms").value == pytest.approx(left, rel=0.1)
    assert figure(figures, "reprojection", "rms", "baton").value > 0.0


def test_nothing_to_check_with_one_camera_or_without_a_bar(evaluation):
    without = replace(evaluation, space=replace(evaluation.space, scale_bar=None))
    assert {f.name for f in check_figures(without)} == {"reprojection"}
    alone = evaluate_space(resolve_space(*load_rig(SCENARIOS / "ferry-model")), (1, 1, 1), 2)
    assert check_figures(alone) == []


def test_a_single_eye_that_is_tracked_has_no_other_beside_it():
    space = resolve_space(*load_rig(SCENARIOS / "paper-theatre"))
    single = replace(space, things=(replace(space.things[0], which_eye="left"),))
    named = [
        {f.cause for f in space_figures(evaluate_space(each, (1, 1, 1), 2))}
        for each in (space, single)
    ]
    assert named[0] - named[1] == {"two-eyes"}


def test_each_eye_sees_content_off_by_similar_triangles():
    """Content a depth e behind, the eye z before: half the eyes' distance times e / (z + e)."""
    space = resolve_space(*load_rig(SCENARIOS / "paper-theatre"))
    thing = replace(space.things[0], ranges_rad=np.zeros(3))
    middle = (thing.low_m + thing.high_m) / 2.0
    thing = replace(thing, low_m=middle, high_m=middle)
    space = replace(space, things=(thing,))
    figures = space_figures(evaluate_space(space, (1, 1, 1), 2))
    figures = [f for f in figures if f.cause == "two-eyes"]
    by = {(f.scope.condition, f.unit): f.value for f in figures if f.scope.carried == thing.id}
    corner, _, _, normal = screen_frame(space.screens[0])
    far = float((middle - corner) @ normal)
    for content, depth, sign in zip(("before", "behind"), space.scene_m, (-1, 1), strict=True):
        expected = 1e3 * INTERPUPILLARY_M / 2.0 * depth / (far + sign * depth)
        assert by[content, "mm"] == pytest.approx(expected, rel=1e-6)
        assert by[f"{content}, in display pixels", "px"] > by[content, "mm"]


def test_cameras_in_one_place_meet_nothing_and_break_nothing(evaluation):
    """No point is met along lines that do not cross; a rig so planned says nothing of lengths."""
    space = evaluation.space
    stand = space.cameras.rig_from_camera.copy()
    stand[0, 1] = stand[0, 0]
    together = space.replace(cameras=space.cameras.replace(rig_from_camera=stand))
    assert check_figures(evaluate_space(together, (2, 2, 2), 4)) == []
    assert len(check_figures(evaluation)) > 0


def test_a_plan_of_two_cameras_in_one_place_is_refused_in_one_sentence(
    tmp_path, monkeypatch, capsys
):
    text = (SCENARIOS / "choir-baton/rig.toml").read_text("utf-8")
    right = 'position = ["0.8 m", "1.3 m", "-1.2 m"]'
    assert right in text
    path = tmp_path / "rig.toml"
    path.write_text(text.replace(right, right.replace('"0.8 m"', '"-0.8 m"')), "utf-8")
    monkeypatch.setattr("sys.argv", ["rushlight", "plan", str(path)])
    with pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code == 2
    assert "which does not tell how far it is; move them" in capsys.readouterr().err
