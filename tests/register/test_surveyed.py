"""A registration with a picture survey: true places in metres, and nothing but its own survey."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from rushlight.errors import RushlightError
from rushlight.jobs.load import load_rig
from rushlight.jobs.new import new
from rushlight.jobs.surveyed import survey_of_registration, surveyed_places
from rushlight.physics.geometry import apply_homography, fit_homography
from rushlight.physics.surface_map import surface_from_px
from rushlight.records.registration import DisplaySurvey
from rushlight.register.fit import Place, fit_registration

PX = np.array([1280.0, 800.0])


def survey(scene, std_m: float = 0.002) -> DisplaySurvey:
    """Of a picture that is 40 mm wider at the top."""
    corners_px = np.array([[0, 800], [1280, 800], [1280, 0], [0, 0]], float)
    H = fit_homography(corners_px, [[0, 0], [2.4, 0], [2.42, 1.5], [-0.02, 1.5]])
    return DisplaySurvey(
        surface="wall",
        surface_from_display=H.tolist(),
        cov=(std_m**2 * np.eye(8)).tolist(),
        size_m=tuple(scene.WALL.size_m.tolist()),
    )


def test_keystone_is_taken_out_of_places_and_the_doubt_added(scene) -> None:
    rng, told = np.random.default_rng(2), survey(scene)
    meant = scene.grid()
    real = surveyed_places(meant, told, scene.WALL.size_m, PX)
    touches = scene.touched(scene.FLAT, real, rng, scatter_m=1e-4)
    place = Place("beam", "wall", scene.SIZE_PX, 0.0)
    many = {"frames": [9] * 9, "carried": [None] * 9}
    plain = touches.__class__(meant, touches.px, touches.px_cov, touches.scatter_m)
    corner = np.array([[0.2, 1.4]])

    def error_m(found) -> float:
        one = found.maps[0]
        at = surface_from_px(
            scene.FLAT.px(corner), one.camera_matrix, one.distortion,
            one.surface_from_normalised, found.flatness_m, scene.WALL.size_m,
            one.camera_position_m,
        )  # fmt: skip
        return float(np.linalg.norm(at - corner))

    with_it = fit_registration(touches, scene.LENS, scene.WALL, place, **many, survey=told)
    without = fit_registration(plain, scene.LENS, scene.WALL, place, **many)
    assert error_m(with_it) < 0.002 < 0.01 < error_m(without)
    added = np.array(with_it.cov)
    bare = fit_registration(touches, scene.LENS, scene.WALL, place, **many)
    assert (added - np.array(bare.cov))[:8, :8] == pytest.approx(4e-6 * np.eye(8), abs=1e-12)
    assert with_it.valid_for.survey == told.content_hash() and without.valid_for.survey is None


def test_pixels_of_a_mark_come_back(scene) -> None:
    told = survey(scene)
    real = surveyed_places(np.array([[1.2, 0.75]]), told, scene.WALL.size_m, PX)
    back = apply_homography(np.linalg.inv(told.surface_from_display), real)
    assert back == pytest.approx(np.array([[640.0, 400.0]]), abs=1e-9)


def test_a_run_refuses_any_survey_but_the_registrations_own(scene, tmp_path: Path) -> None:
    new(tmp_path / "wall")
    surface = load_rig(tmp_path / "wall")[0].surfaces[0]
    told = survey(scene).model_copy(update={"size_m": (1.6, 1.0)}).stamped("measured")

    def made_with(which: str | None):
        return SimpleNamespace(valid_for=SimpleNamespace(survey=which, display_px=then_px))

    then_px = tuple(surface.pixels)
    assert survey_of_registration(made_with(None), tmp_path / "wall", surface) is None
    with pytest.raises(RushlightError, match="is missing"):
        survey_of_registration(made_with(told.content_hash()), tmp_path / "wall", surface)
    told.write(tmp_path / "wall" / "survey.json")
    found = survey_of_registration(made_with(told.content_hash()), tmp_path / "wall", surface)
    assert found == told
    # A display of other pixels shows the same picture: its middle stays where it was.
    then_px = (surface.pixels[0] // 2, surface.pixels[1] // 2)
    finer = survey_of_registration(made_with(told.content_hash()), tmp_path / "wall", surface)
    middle = [
        apply_homography(each.surface_from_display, np.array([px]))
        for each, px in ((told, np.array(then_px) / 2), (finer, np.array(surface.pixels) / 2))
    ]
    assert middle[0] == pytest.approx(middle[1], abs=1e-9)
    with pytest.raises(RushlightError, match="not the survey"):
        survey_of_registration(made_with("other"), tmp_path / "wall", surface)
