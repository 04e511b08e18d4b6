"""Measured values beside a rig: written once, used by everything that reads the shelf."""

import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from rushlight.errors import RushlightError
from rushlight.inspect.result import Measure, interval_of
from rushlight.jobs.inspect import Asked, inspect_takes
from rushlight.jobs.inspect_files import write_measured
from rushlight.jobs.load import load_rig
from rushlight.records.document import read_document
from rushlight.records.parts import PartMeasured
from rushlight.shelf.catalogue import load_shelf
from rushlight.shelf.check import check_rig
from rushlight.shelf.resolve import resolve

BARN_WALL = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios/barn-wall"
PART = "vga-global-120"


@pytest.fixture
def barn(tmp_path):
    return Path(shutil.copytree(BARN_WALL, tmp_path / "barn-wall"))


def measure(field, value, std, unit=""):
    return Measure(field, interval_of(value, std, 10, "own scale"), unit, field)


def write(folder, *measures, basis="measured", inputs=None):
    path = folder / "measured" / f"{PART}.toml"
    shelf = load_shelf(folder)
    return write_measured(path, PART, "camera", measures, basis, inputs or {}, shelf)


def test_every_later_prediction_uses_what_was_measured(barn):
    before = resolve(*load_rig(barn))
    write(barn, measure("read_noise", 7.5, 0.2, "e-"), measure("full_well", 9.1, 0.1, "ke-"))
    rig, shelf = load_rig(barn)
    after = resolve(rig, shelf)
    assert before.cameras.read_noise_e[0, 0] == 5.0 and after.cameras.read_noise_e[0, 0] == 7.5
    assert after.cameras.full_well_e[0, 0] == pytest.approx(9100 / rig.cameras[0].gain)
    assert shelf.camera(PART).read_noise.basis == "measured"
    assert shelf.camera(PART).read_noise.std == 0.2
    assert shelf.origin("camera", PART) == f"generic.toml and measured/{PART}.toml"


def test_a_check_and_so_a_plan_tells_which_values_were_measured(barn):
    assert not [each for each in check_rig(*load_rig(barn)) if each.code == "part-measured"]
    write(barn, measure("read_noise", 7.5, 0.2, "e-"))
    (note,) = [each for each in check_rig(*load_rig(barn)) if each.code == "part-measured"]
    assert str(note) == (
        f"rig.toml: camera {PART} = read_noise 7.5 ± 0.2 e- was measured and is used in place of "
        "the shelf's typical values; remove its file if you use another specimen."
    )


def test_values_of_a_later_step_join_those_before(barn):
    write(barn, measure("read_noise", 7.5, 0.2, "e-"), inputs={"noise: dark": "aa"})
    write(barn, measure("black_level", 6.0, 0.1), inputs={"noise: dark": "bb", "x: y": "cc"})
    document = read_document(PartMeasured, barn / "measured" / f"{PART}.toml")
    assert set(document.values) == {"read_noise", "black_level"}
    assert document.header.inputs == {"noise: dark": "bb", "x: y": "cc"}
    assert document.header.content_hash == document.content_hash()
    assert document.header.basis == "measured"


def test_simulated_values_say_so_and_never_replace_measured_ones(barn):
    write(barn, measure("read_noise", 7.5, 0.2, "e-"), basis="simulated")
    (note,) = [each for each in check_rig(*load_rig(barn)) if each.code == "part-measured"]
    assert "comes from simulated pictures" in str(note)
    write(barn, measure("read_noise", 8.0, 0.2, "e-"))
    with pytest.raises(RushlightError, match="must not replace it"):
        write(barn, measure("read_noise", 7.5, 0.2, "e-"), basis="simulated")


def test_what_the_shelf_would_refuse_is_not_written(barn):
    with pytest.raises(RushlightError, match="cannot be values"):
        write(barn, measure("read_noise", -3.0, 0.2, "e-"))
    assert not (barn / "measured").exists()


def test_a_value_in_two_files_is_refused(barn):
    document = write(barn, measure("read_noise", 7.5, 0.2, "e-"))
    document.write(barn / "other.measured.json")
    with pytest.raises(RushlightError, match="was measured in"):
        load_rig(barn)


def test_live_takes_pass_the_same_way(barn, sensor, take):
    rng = np.random.default_rng(0)
    takes = [take("dark", sensor.flat(rng, 0.0))]
    takes += [take(f"{ms} ms", sensor.flat(rng, 600.0 * ms)) for ms in (1, 2, 3, 5)]
    # A live source can be read once only.
    takes = [replace(each, frames=iter(each.frames)) for each in takes]
    found = inspect_takes("noise", takes, Asked(rig=barn))
    assert found.basis == "measured" and found.part == PART
    assert load_rig(barn)[1].camera(PART).read_noise.value == pytest.approx(14.0, rel=0.05)


def test_a_result_that_cannot_tell_writes_no_values(barn, sensor, take):
    rng = np.random.default_rng(1)
    found = inspect_takes("noise", [take("sheet", sensor.flat(rng, 900.0, slope=0))],
                          Asked(rig=barn))  # fmt: skip
    assert not found.result.told
    assert not (barn / "measured" / f"{PART}.toml").exists()


def test_a_rolling_shutter_where_the_shelf_says_global_is_told(barn, sensor, take):
    rng = np.random.default_rng(2)
    rows = np.arange(240)
    pictures = [
        sensor.picture(rng, (1500 + 900 * np.sin(rows / 20 + 1.7 * i))[:, None] * np.ones(48))
        for i in range(20)
    ]
    found = inspect_takes("row-time", [take("sheet", pictures)], Asked(barn, frequency="100 Hz"))
    assert "shutter-differs" in {finding.code for finding in found.findings}
    # One radian in 20 rows, at 100 Hz.
    row_us = 1e6 / (2 * np.pi * 20 * 100)
    assert found.result.measures[0].interval.value == pytest.approx(row_us, rel=0.02)


def test_what_belongs_to_a_rig_needs_one(sensor, take):
    with pytest.raises(RushlightError, match="give --rig too"):
        inspect_takes("rate", [], Asked(camera="beam"))


def test_an_unknown_camera_is_refused(barn):
    with pytest.raises(RushlightError, match='has no camera "bean"'):
        inspect_takes("rate", [], Asked(barn, camera="bean"))
