"""The verb calibrate for two cameras: pictures of one board, taken at the same moments."""

import importlib.util
from pathlib import Path

import numpy as np
import pytest
import typer
from PIL import Image
from typer.testing import CliRunner

from rushlight.cli.calibrate import calibrate
from rushlight.errors import RushlightError
from rushlight.records.document import read_document
from rushlight.records.pair_calibration import PairCalibration
from rushlight.records.registration import LensCalibration

_spec = importlib.util.spec_from_file_location(
    "board_pictures", Path(__file__).parents[1] / "board_pictures.py"
)
board_pictures = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(board_pictures)

app = typer.Typer()
app.command()(calibrate)

SIDEWAYS_M = np.array([0.03, 0.0, 0.0])


def run(*arguments):
    return CliRunner(env={"COLUMNS": "160"}).invoke(app, [str(each) for each in arguments])


@pytest.fixture(scope="module")
def folders(tmp_path_factory):
    """Nine boards as two computed cameras see them, the second 30 mm to the right of the first."""
    place = tmp_path_factory.mktemp("pair")
    for side in ("left", "right"):
        (place / side).mkdir()
    for i, pose in enumerate(board_pictures.NINE, 1):
        beside = np.array(pose)
        beside[:3, 3] -= SIDEWAYS_M
        for side, each, seed in (("left", pose, i), ("right", beside, 100 + i)):
            picture = board_pictures.board_picture(each, seed=seed)
            Image.fromarray(picture).save(place / side / f"{side}{i}.png")
    return place / "left", place / "right"


def test_two_lenses_and_how_the_cameras_stand(folders, tmp_path):
    left, right = folders
    result = run(
        "--pictures", left, "--beside", right, "--check-line", "100 mm", "--camera", "near",
        "--other-camera", "far", "--out", tmp_path / "pair.json",
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    assert "two cameras from measured views of one board" in result.output
    pair = read_document(PairCalibration, tmp_path / "pair.json")
    assert pair.cameras == ("near", "far")
    assert pair.verdict.vouched
    distance, std = pair.distance_m
    assert abs(distance - 0.03) < 4.0 * std < 0.001
    shift = np.array(pair.translation_m)
    shift_std = np.sqrt(np.diag(np.array(pair.cov))[21:])
    assert np.all(np.abs(shift + SIDEWAYS_M) < 4.0 * shift_std)
    for i, name in enumerate(pair.cameras):
        lens = read_document(LensCalibration, tmp_path / f"lens-{name}.json")
        error = np.array(lens.params) - board_pictures.TRUE
        assert lens.params == pair.params[i]
        assert error @ np.linalg.solve(np.array(lens.cov), error) < 27.9


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--other-camera", "far"], "does nothing with one camera"),
        (["--beside", "{right}", "--leave-out", "left1.png"], "does nothing with --beside"),
        (["--beside", "{right}", "--camera", "a", "--other-camera", "a"], "the same camera twice"),
        (["--beside", "{fewer}"], "do not pair"),
        (["--beside", "{right}", "--window", "99"], "is none of the half-windows"),
    ],
)
def test_what_does_not_go_together_is_refused(folders, tmp_path, arguments, told):
    left, right = folders
    fewer = tmp_path / "fewer"
    fewer.mkdir()
    (fewer / "right1.png").write_bytes((right / "right1.png").read_bytes())
    named = [each.format(right=right, fewer=fewer) for each in arguments]
    result = run("--pictures", left, "--check-line", "100 mm", *named)
    assert isinstance(result.exception, RushlightError), result.output
    assert told in str(result.exception.findings[0])
