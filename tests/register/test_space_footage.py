"""Cameras of the invented rigs from simulated pictures, as the verb `register` finds them."""

import json
import re
import shutil

import numpy as np
import pytest
from scipy import stats
from typer.testing import CliRunner

from rushlight.cli import app
from rushlight.errors import RushlightError
from rushlight.jobs.load import load_rig
from rushlight.jobs.register import register
from rushlight.jobs.register_space import register_space
from rushlight.jobs.simulate_space import with_exposures
from rushlight.physics.geometry.rotation import pose_difference
from rushlight.records.document import read_document
from rushlight.records.space_footage import SpaceFootage
from rushlight.records.space_plan import PlannedMark
from rushlight.records.space_registration import SpaceRegistration
from rushlight.shelf.resolve_space import resolve_space
from rushlight.simulate import space_scripts as scripts
from rushlight.simulate.space_footage import write_space_footage
from rushlight.simulate.space_world import ALL_SPACE_CAUSES, draw_space

RATES_HZ = {"paper-theatre": (100, 40), "ferry-model": (60, 30), "choir-baton": (60, 30)}
"""Of the invented rigs, and as they are filmed here: fewer frames show the same."""
HOLD_S = 0.2
METHODS = {"paper-theatre": "looks", "ferry-model": "placings", "choir-baton": "swing"}


def marks_of(name, thing):
    rng = np.random.default_rng(3)
    if name == "paper-theatre":
        made = []
        for x, y in ((0.1, 0.08), (0.5, 0.08), (0.1, 0.3), (0.5, 0.3), (0.3, 0.2)) * 2:
            near = np.array([x, y, 0.08])
            eye = np.array([*rng.uniform([0.1, 0.1], [0.5, 0.35]), 1.05])
            far = near + (near - eye) * 0.08 / (eye[2] - 0.08)
            made.append(PlannedMark(carried=thing.id, point=thing.main, kind="look",
                                    from_m=tuple(near), to_m=tuple(far)))  # fmt: skip
        return made
    places = [(x, y, 0.0) for x in (0.2, 0.45, 0.75) for y in (0.12, 0.42)]
    return [
        PlannedMark(carried=thing.id, point=thing.main, kind="placing", from_m=place)
        for place in places
    ]


@pytest.fixture(scope="module")
def slower(truth, tmp_path_factory):
    """The folder of a rig whose cameras take fewer frames a second."""

    def rig_of(name):
        home = home_of / name
        if not home.exists():
            own, here = RATES_HZ[name]
            text = (truth.SCENARIOS / name / "rig.toml").read_text("utf-8")
            assert f'"{own} Hz"' in text
            home.mkdir()
            text = text.replace(f'frame_rate = "{own} Hz"', f'frame_rate = "{here} Hz"')
            (home / "rig.toml").write_text(text, "utf-8")
        return home

    home_of = tmp_path_factory.mktemp("rigs")
    return rig_of


@pytest.fixture(scope="module")
def filmed(slower, tmp_path_factory):
    """One folder of registration footage a rig, and the world it was made in."""
    made = {}

    def film(name):
        if name not in made:
            rig, shelf = load_rig(slower(name))
            world = draw_space(with_exposures(resolve_space(rig, shelf)), 11, ALL_SPACE_CAUSES)
            if METHODS[name] == "swing":
                script = scripts.register_by_swing(world, 3.0)
            else:
                marks = marks_of(name, world.space.things[0])
                script = scripts.register_by_marks(world, marks, HOLD_S)
            folder = tmp_path_factory.mktemp(name) / "film"
            write_space_footage(world, script, folder, rig_hash=rig.content_hash())
            made[name] = (folder, world)
        return made[name]

    return film


@pytest.mark.parametrize("name", METHODS)
def test_the_true_cameras_within_the_doubt(truth, slower, filmed, tmp_path, name):
    folder, world = filmed(name)
    result = register(folder, slower(name), tmp_path / "registration.json")
    made = read_document(SpaceRegistration, tmp_path / "registration.json")
    assert made.method == METHODS[name]
    assert made.header.basis == "simulated"
    assert made.verdict.vouched, made.verdict.reasons
    true = np.concatenate([world.K[:, [0, 1], [0, 1]], world.K[:, :2, 2], world.k], axis=-1)
    lens = np.concatenate([made.K[:, [0, 1], [0, 1]], made.K[:, :2, 2], made.k], axis=-1)
    error = np.concatenate(
        [pose_difference(world.rig_from_camera, made.rig_from_camera), true - lens], axis=-1
    )
    square, ranks = truth.chi_square(error.reshape(-1), made.cov_array)
    assert square < stats.chi2.ppf(0.999, ranks)
    for camera, late in zip(made.cameras, world.clock_offset_ns, strict=True):
        if camera.clock_std_ns is not None:
            assert abs(camera.clock_offset_ns - late) < 4.0 * camera.clock_std_ns
    assert result.worst_error_m > result.middle_error_m > 0.0
    drawn = (tmp_path / "registration.svg").read_text()
    assert "simulated" in drawn
    assert "NOT VOUCHED" not in drawn


def test_the_measured_mounting_alone(truth, tmp_path):
    out = tmp_path / "registration.json"
    told = CliRunner().invoke(
        app, ["register", "--rig", str(truth.SCENARIOS / "paper-theatre"), "--out", str(out)]
    )
    assert told.exit_code == 0, told.output
    assert "measured mounting alone" in told.output
    made = read_document(SpaceRegistration, out)
    assert made.header.basis == "predicted"
    np.testing.assert_allclose(np.sqrt(np.diag(made.cov_array))[:3], 0.005)


def test_names_of_cameras_one_behind_the_other_stand_beside_one_another(truth, tmp_path):
    """Seen from above the two stand apart; from the side they are one place."""
    register_space(None, truth.SCENARIOS / "choir-baton", tmp_path / "registration.json")
    drawn = (tmp_path / "registration.svg").read_text()
    words = re.findall(r"<text [^>]*>([^<]*)</text>", drawn)
    assert [each for each in words if "left" in each or "right" in each] == [
        "left",
        "right",
        "left, right",
    ]


def test_what_is_told(slower, filmed, tmp_path):
    folder, _ = filmed("paper-theatre")
    args = ["register", "--rig", str(slower("paper-theatre")), "--footage", str(folder),
            "--out", str(tmp_path / "r.json")]  # fmt: skip
    words = CliRunner().invoke(app, args)
    assert words.exit_code == 0, words.output
    for word in ("cameras from looks past marks (simulated)", "vouched for:", "off by the others"):
        assert word in " ".join(words.output.split())
    plain = json.loads(CliRunner().invoke(app, [*args, "--json"]).stdout)
    assert plain["method"] == "looks"
    assert len(plain["rows"]) == 10


def changed(folder, tmp_path, **fields):
    """The same footage with its document changed."""
    copy = tmp_path / "film"
    shutil.copytree(folder, copy)
    header = read_document(SpaceFootage, copy / "space.json")
    header.model_copy(update=fields).write(copy / "space.json")
    return copy


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"script": "places"}, "shows no registration"),
        ({"cameras": ["arm", "other"]}, "are not the cameras of rig.toml"),
        ({"marks": "two"}, "are too few: 4 are the least"),
        ({"marks": "one place"}, "lie in one spot or on one line"),
        ({"marks": []}, "has no scale bar that could be swung"),
        ({"marks": "another"}, "is no thing of the rig"),
    ],
)
def test_wrong_footage_is_refused(slower, filmed, tmp_path, fields, sentence):
    folder, _ = filmed("paper-theatre")
    marks = read_document(SpaceFootage, folder / "space.json").marks
    if fields.get("marks") == "two":
        fields = {"marks": marks[:2]}
    if fields.get("marks") == "one place":
        first = marks[0]
        fields = {
            "marks": [
                each.model_copy(update={"from_m": first.from_m, "to_m": first.to_m})
                for each in marks
            ]
        }
    if fields.get("marks") == "another":
        fields = {"marks": [marks[0].model_copy(update={"carried": "ferry"})]}
    copy = changed(folder, tmp_path, **fields)
    with pytest.raises(RushlightError, match=sentence):
        register(copy, slower("paper-theatre"), tmp_path / "r.json")


def test_a_look_past_the_wrong_marks_is_left_out(slower, filmed, tmp_path):
    folder, _ = filmed("paper-theatre")
    marks = read_document(SpaceFootage, folder / "space.json").marks
    elsewhere = {
        name: tuple(np.add(getattr(marks[2], name), [0.15, -0.1, 0.0]))
        for name in ("from_m", "to_m")
    }
    wrong = marks[2].model_copy(update=elsewhere)
    copy = changed(folder, tmp_path, marks=[*marks[:2], wrong, *marks[3:]])
    made = register(copy, slower("paper-theatre"), tmp_path / "r.json").registration
    assert [row.used for row in made.rows] == [i != 2 for i in range(len(marks))]
    assert any(reason.startswith("left out as bad: the look at") for reason in made.verdict.reasons)


def test_no_footage_and_idle_options_are_refused(truth, tmp_path):
    rig = truth.SCENARIOS / "paper-theatre"
    with pytest.raises(RushlightError, match=r"holds no space\.json"):
        register(tmp_path, rig, tmp_path / "r.json")
    with pytest.raises(RushlightError, match="does nothing for a rig that follows things in space"):
        register(tmp_path, rig, tmp_path / "r.json", rate="30 Hz")
    with pytest.raises(RushlightError, match="is needed to register a surface"):
        register(None, truth.SCENARIOS / "barn-wall", tmp_path / "r.json")
