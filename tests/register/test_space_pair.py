"""A volume rig registered by photographs of one board: poses, and doubts by many draws."""

from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

import rushlight.jobs as jobs
from rushlight.cli import app
from rushlight.errors import RushlightError
from rushlight.jobs.load import load_rig
from rushlight.physics.geometry import quaternion_from_matrix
from rushlight.physics.geometry.rotation import matrix_from_rotation_vector, pose_difference
from rushlight.records.document import read_document
from rushlight.records.pair_calibration import PairCalibration
from rushlight.records.registration import Verdict
from rushlight.records.space_registration import SpaceRegistration
from rushlight.register.lens_fit import moved
from rushlight.register.space_pair import register_pair, space_by_pair
from rushlight.register.space_solve import known_beforehand
from rushlight.shelf.resolve_space import resolve_space

SCENARIOS = Path(jobs.__file__).parent / "scenarios"
TURNED = np.array([0.05, -0.8, 0.1])
SHIFT_M = np.array([-1.3, 0.05, 0.9])
LENSES = np.array(
    [
        [1190.0, 1195.0, 642.0, 355.0, -0.1, 0.02, 1e-4, -1e-4, 0.0],
        [1205.0, 1201.0, 630.0, 366.0, -0.12, 0.03, 0.0, 2e-4, 0.0],
    ]
)


def covariance():
    """Numbers that hang together, of about the sizes that a calibration leaves."""
    std = np.concatenate(
        [np.tile([1.0, 1.0, 2.0, 2.0, 5e-3, 1e-2, 1e-4, 1e-4, 1e-3], 2), [2e-3] * 3, [1.5e-3] * 3]
    )
    mix = np.eye(24) + 0.3 * np.random.default_rng(4).standard_normal((24, 24)) / np.sqrt(24)
    return std[:, None] * (mix @ mix.T) * std


def pair_of(cameras, size_px=(1280, 720)):
    w, x, y, z = quaternion_from_matrix(matrix_from_rotation_vector(TURNED)).tolist()
    return PairCalibration(
        cameras=cameras, size_px=(size_px, size_px), params=tuple(map(tuple, LENSES.tolist())),
        translation_m=tuple(SHIFT_M.tolist()), quaternion=(w, x, y, z),
        cov=covariance().tolist(), views=[], rms_px=0.2, noise_px=0.15, square_m=(0.03, 0.03),
        verdict=Verdict(vouched=True, reasons=["made for a test"]),
    ).stamped("measured")  # fmt: skip


@pytest.mark.parametrize("cameras", [("left", "right"), ("right", "left")])
def test_pose_and_doubt_of_the_second_camera(cameras):
    space = resolve_space(*load_rig(SCENARIOS / "choir-baton"))
    pair = pair_of(cameras)
    made = register_pair(space, "0" * 64, pair, "pair.json").registration
    here = space.cameras.rig_from_camera[0, 0]
    between = np.eye(4)
    between[:3, :3], between[:3, 3] = matrix_from_rotation_vector(TURNED), SHIFT_M

    def there(other_from_one):
        way = other_from_one if cameras[0] == "right" else np.linalg.inv(other_from_one)
        return here @ way

    assert made.method == "pair" and made.verdict.vouched
    np.testing.assert_allclose(made.rig_from_camera[0], here, atol=1e-12)
    np.testing.assert_allclose(made.rig_from_camera[1], there(between), atol=1e-12)
    lens = LENSES if cameras[0] == "left" else LENSES[::-1]
    np.testing.assert_allclose(made.K[:, [0, 1], [0, 1]], lens[:, :2])
    np.testing.assert_allclose(made.k, lens[:, 4:])
    draws = np.random.default_rng(5).multivariate_normal(np.zeros(24), covariance(), 4000)
    poses = np.stack([there(moved(between, each[18:])) for each in draws])
    steps = pose_difference(poses, np.broadcast_to(there(between), poses.shape))
    own = draws[:, :9] if cameras[0] == "right" else draws[:, 9:18]
    drawn = np.cov(np.concatenate([steps, own], axis=1).T)
    told = made.cov_array[15:, 15:]
    scale = np.sqrt(np.diag(told))
    np.testing.assert_allclose(
        drawn / np.outer(scale, scale), told / np.outer(scale, scale), atol=0.08
    )
    assert not made.cov_array[:6].any() and not made.cov_array[:, :6].any()


def test_what_a_swing_begins_with_is_no_surer_than_the_pair():
    space = resolve_space(*load_rig(SCENARIOS / "choir-baton"))
    pair = pair_of(("left", "right"))
    made = register_pair(space, "0" * 64, pair, "pair.json").registration
    begun = known_beforehand(space_by_pair(space, pair, "pair.json"))
    np.testing.assert_allclose(begun.cameras.pose, made.rig_from_camera, atol=1e-12)
    told, known = np.diag(made.cov_array)[15:21], np.diag(begun.cov)[15:21]
    assert np.all(known >= told * (1.0 - 1e-9)) and np.all(known < 0.01)


def test_the_command_registers_by_a_pair_and_says_what_it_rests_on(tmp_path):
    pair_of(("left", "right")).write(tmp_path / "pair.json")
    words = ["register", "--rig", str(SCENARIOS / "choir-baton"), "--pair", tmp_path / "pair.json"]
    told = CliRunner().invoke(app, [*map(str, words), "--out", str(tmp_path / "r.json")])
    assert told.exit_code == 0, told.output
    assert "cameras from photographs of one board alone" in told.output
    assert "their clocks were not compared" in " ".join(told.output.split())
    made = read_document(SpaceRegistration, tmp_path / "r.json")
    assert made.header.basis == "measured" and "pair" in made.header.inputs


@pytest.mark.parametrize(
    ("scenario", "cameras", "size_px", "sentence"),
    [
        ("choir-baton", ("left", "third"), (1280, 720), "are not the rig's, left, right"),
        ("choir-baton", ("left", "right"), (640, 480), "is not the 1280×720 px of the rig's"),
        ("ferry-model", ("left", "right"), (1280, 720), "it is of kind body with 1 cameras"),
        ("barn-wall", ("left", "right"), (1280, 720), "not to a surface"),
    ],
)
def test_a_pair_of_no_use_is_refused(tmp_path, scenario, cameras, size_px, sentence):
    pair_of(cameras, size_px).write(tmp_path / "pair.json")
    words = ["register", "--rig", str(SCENARIOS / scenario), "--pair", str(tmp_path / "pair.json")]
    told = CliRunner().invoke(app, [*words, "--out", str(tmp_path / "r.json")])
    assert isinstance(told.exception, RushlightError)
    assert sentence in str(told.exception)
