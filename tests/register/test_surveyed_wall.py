"""A registration with gaps read on the wall: nearer to the truth, and honest about how near."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from tests.surveyed_wall import read_wall, survey_of_wall

from rushlight.errors import RushlightError
from rushlight.jobs.load import load_rig
from rushlight.jobs.new import new
from rushlight.jobs.surveyed import bends_within, survey_to_register, wall_of, without_survey_doubt
from rushlight.physics.surface_map import surface_from_px, transferred_cov
from rushlight.physics.surface_model import FLATNESS, LENS, PLANE, bend_amplitudes
from rushlight.register.checking import design_of_registration
from rushlight.register.fit import Place, fit_registration
from rushlight.register.solve import solve_map

DRAWS = 40
SCATTER_M = 1e-3


def registered(scene, touches, wall, survey=None):
    place = Place("beam", "wall", scene.SIZE_PX, 0.0)
    count = len(touches)
    return fit_registration(touches, scene.LENS, wall, place, [18] * count, [None] * count, survey)


def off_m(scene, truth, found, places):
    one = found.maps[0]
    at = surface_from_px(
        truth.px(places), one.camera_matrix, one.distortion, one.surface_from_normalised,
        found.flatness_m, scene.WALL.size_m, one.camera_position_m,
    )  # fmt: skip
    return at - places


def test_the_map_errs_less_with_gaps_and_by_as_much_as_it_says(scene) -> None:
    # As uneven as lime-wash on rubble may be (no source).
    rng, uneven = np.random.default_rng(11), scene.WALL._replace(flatness_rms_m=0.008)
    rms_m = uneven.flatness_rms_m
    places = scene.grid(5, 4, inset=0.05)
    squares = {"with": np.zeros(2), "without": np.zeros(2)}
    bends, misfits = [], []
    for _ in range(DRAWS):
        truth = scene.drawn_truth(rng, wall=uneven)
        touches = scene.touched(truth, scene.grid(), rng, SCATTER_M)
        gaps = read_wall(truth.flatness_m, scene.WALL.size_m, rms_m, rng)
        surveyed = uneven._replace(bends_m=gaps.flatness_m, bends_cov_m2=gaps.cov_m2)
        for name, wall in (("with", surveyed), ("without", uneven)):
            found = registered(scene, touches, wall)
            stated = transferred_cov(design_of_registration(found, places), found.cov)
            missed = off_m(scene, truth, found, places)
            squares[name] += [np.mean(np.sum(missed**2, axis=1)), np.mean(np.trace(stated.T))]
            if name == "with":
                own = np.array(found.cov)[FLATNESS, FLATNESS] * bend_amplitudes(rms_m)[0] ** 2
                apart = truth.flatness_m - np.array(found.flatness_m)
                bends.append(apart @ np.linalg.solve(own, apart))
                misfits.append(found.misfit / found.freedom)
                # No touch makes the wall more doubtful than the gaps left it.
                assert np.trace(own) < np.trace(gaps.cov_m2)
    seen, said = squares["with"]
    assert seen < 0.5**2 * squares["without"][0]
    assert said < 0.5**2 * squares["without"][1]
    # Chi-squares of 7, and of 10 over 10: four standard deviations of their means over the draws.
    assert np.mean(bends) == pytest.approx(7.0, abs=4 * np.sqrt(2 * 7 / DRAWS))
    assert np.mean(misfits) == pytest.approx(1.0, abs=4 * np.sqrt(2 / 10 / DRAWS))
    # A mean square of some six free numbers a draw at least.
    assert seen / said == pytest.approx(1.0, abs=4 * np.sqrt(2 / 6 / DRAWS))


def test_bends_of_the_stated_flatness_change_nothing(scene) -> None:
    rng = np.random.default_rng(4)
    touches = scene.touched(scene.drawn_truth(rng), scene.grid(), rng)
    amplitudes = bend_amplitudes(scene.WALL.flatness_rms_m)
    same = scene.WALL._replace(bends_m=np.zeros(7), bends_cov_m2=np.diag(amplitudes**2))
    plain, told = (solve_map(touches, scene.LENS, wall) for wall in (scene.WALL, same))
    assert told.flatness_m == pytest.approx(plain.flatness_m, abs=1e-9)
    assert told.estimate == pytest.approx(plain.estimate, abs=1e-5)
    assert told.cov == pytest.approx(plain.cov, rel=1e-4, abs=1e-7)
    assert told.misfit == pytest.approx(plain.misfit, rel=1e-5)


def test_a_known_wall_is_taken_as_it_is(scene) -> None:
    rng = np.random.default_rng(6)
    truth = scene.drawn_truth(rng)
    touches = scene.touched(truth, scene.grid(), rng)
    known = scene.WALL._replace(bends_m=truth.flatness_m, bends_cov_m2=np.zeros((7, 7)))
    fit = solve_map(touches, scene.LENS, known)
    assert fit.flatness_m == pytest.approx(truth.flatness_m, abs=1e-12)
    assert fit.cov[FLATNESS, FLATNESS] == pytest.approx(0.0, abs=1e-12)
    assert np.all(np.diag(fit.cov)[LENS][:4] > 0.0)


def test_later_touches_are_held_against_the_touches_alone(scene) -> None:
    rng, rms_m = np.random.default_rng(8), scene.WALL.flatness_rms_m
    touches = scene.touched(scene.FLAT, scene.grid(), rng)
    gaps = read_wall(np.zeros(7), scene.WALL.size_m, rms_m, rng)
    survey = survey_of_wall(gaps, scene.WALL.size_m, rms_m, (1280, 800), std_m=0.004)
    wall = wall_of(scene.WALL.size_m, rms_m, survey)
    whole = registered(scene, touches, wall, survey)
    alone = np.array(without_survey_doubt(whole, survey).cov)
    assert alone == pytest.approx(np.array(registered(scene, touches, wall).cov), abs=1e-12)
    assert np.all(np.diag(np.array(whole.cov) - alone)[PLANE] > 1e-5)


def test_gaps_of_another_flatness_are_refused_and_a_rehearsed_wall_has_its_bends(
    scene, tmp_path: Path
) -> None:
    new(tmp_path / "wall")
    surface = load_rig(tmp_path / "wall")[0].surfaces[0]
    size_m, rms_m = np.array([surface.width.value, surface.height.value]), surface.flatness.value
    rng = np.random.default_rng(9)
    true_m = bend_amplitudes(rms_m) * rng.standard_normal(7)
    gaps = read_wall(true_m, size_m, rms_m, rng, std_m=1e-5)
    told = survey_of_wall(gaps, size_m, rms_m, tuple(surface.pixels))
    told = told.model_copy(update={"surface": surface.id})
    drawn_m = np.zeros(7)
    assert bends_within(tmp_path / "wall", surface, drawn_m) is drawn_m
    path = tmp_path / "wall" / "survey.json"
    told.write(path)
    assert survey_to_register(path, surface) == told
    rehearsed_m = bends_within(tmp_path / "wall", surface, drawn_m)
    assert rehearsed_m == pytest.approx(gaps.flatness_m, abs=1e-12)
    for change, why in (
        ({"flatness_rms_m": 2 * rms_m}, "rig's flatness is now"),
        ({"flatness_rms_m": None}, "not told"),
        ({"flatness_m": [0.0] * 3}, "seven bends"),
    ):
        told.model_copy(update=change).write(path)
        with pytest.raises(RushlightError, match=why):
            survey_to_register(path, surface)
        assert bends_within(tmp_path / "wall", surface, drawn_m) is drawn_m
    # Without gaps it tells nothing of the wall, and is of use for the picture.
    plain = told.model_copy(update={"flatness_m": None, "flatness_rms_m": None})
    plain.write(path)
    assert wall_of(size_m, rms_m, survey_to_register(path, surface)).bends_m is None
