"""The verb inspect on folders of pictures, as a user types it.

The pictures stand for a camera: they are made here from Poisson light, read noise and rounding.
"""

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
import typer
from PIL import Image
from typer.testing import CliRunner

from rushlight.cli.inspect import inspect
from rushlight.errors import RushlightError
from rushlight.inspect.guide import AT_REST, NAMES
from rushlight.jobs.plan import planned_rig
from rushlight.jobs.simulate import simulate

BARN_WALL = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios/barn-wall"
PART = "vga-global-120"


def run(*arguments):
    app = typer.Typer(rich_markup_mode=None)
    app.command()(inspect)
    return CliRunner(env={"COLUMNS": "160"}).invoke(app, [str(each) for each in arguments])


def save(folder, pictures):
    folder.mkdir(parents=True)
    for index, picture in enumerate(pictures):
        Image.fromarray(picture).save(folder / f"{index:03}.png")


@pytest.fixture(scope="module")
def room(tmp_path_factory):
    """A copy of the barn wall, and five takes of a sheet by a sensor of 20 electrons a level."""
    folder = tmp_path_factory.mktemp("room")
    shutil.copytree(BARN_WALL, folder / "barn-wall")
    rng = np.random.default_rng(0)
    light = np.linspace(0.9, 1.1, 80) * np.ones((64, 1))
    for name, mean in (("dark", 0), ("1 ms", 600), ("2 ms", 1200), ("4 ms", 2400)):
        pictures = []
        for _ in range(16):
            level = (rng.poisson(mean * light) + rng.normal(0, 14, light.shape)) / 20 + 6
            picture = np.clip(np.rint(level), 0, 255).astype(np.uint8)
            picture[5, 7] = 130
            pictures.append(picture)
        save(folder / "sheet" / name, pictures)
    return folder


def test_without_frames_the_steps_are_explained_with_their_cautions():
    told = run()
    assert told.exit_code == 0
    assert all(name in told.output for name in NAMES)
    assert "not yet on any camera" in told.output
    one = run("focus")
    assert one.exit_code == 0 and "Caution" in one.output and "ring slowly" in one.output
    steps = json.loads(run("--json").output)
    assert [each["step"] for each in steps] == [*NAMES, AT_REST]
    assert all(each["do"] and each["takes"] for each in steps)


def test_noise_writes_what_a_plan_then_uses(room):
    rig = room / "barn-wall"
    result = run("noise", "--frames", room / "sheet", "--rig", rig)
    assert result.exit_code == 0, result.output
    assert "the gain is known" in result.output and "1 hot" in result.output
    folder = rig / "measured"
    assert {each.name for each in folder.iterdir()} == {
        f"{PART}.toml",
        f"{PART}-noise.json",
        f"{PART}-noise.svg",
        f"{PART}-noise-pixels.csv",
        f"{PART}-noise-pixels.png",
    }
    assert (folder / f"{PART}-noise-pixels.csv").read_text() == "x_px,y_px,what\n7,5,hot\n"
    assert np.asarray(Image.open(folder / f"{PART}-noise-pixels.png"))[5, 7] == 255
    svg = (folder / f"{PART}-noise.svg").read_text()
    assert "Noise against level (photon transfer) (measured)" in svg
    planned = planned_rig(rig, (3, 2))
    found = [each for each in planned.plan.findings if each.code == "part-measured"]
    assert len(found) == 1 and "full_well" in found[0].given


def test_json_holds_the_same(room):
    result = run("exposure", "--frames", room / "sheet", "--out", room / "out", "--json")
    assert result.exit_code == 0, result.output
    told = json.loads(result.output[result.output.index("{") :])
    assert told["decided"] and told["verdict"].startswith("obeyed")
    assert told["basis"] == "measured" and told["camera"] is None
    (exponent, _) = told["measures"]
    assert exponent["low"] < 1 < exponent["high"] and exponent["level"] == 0.95
    kept = json.loads((room / "out" / "camera-exposure.json").read_text())
    assert kept["verdict"] == told["verdict"] and set(kept["takes"]) == {
        "dark", "1 ms", "2 ms", "4 ms",
    }  # fmt: skip


def test_pictures_without_times_cannot_tell_the_rate(room):
    save(room / "film", [np.full((8, 8), i, np.uint8) for i in range(30)])
    result = run("rate", "--frames", room / "film", "--rate", "30 Hz")
    assert result.exit_code == 1
    assert "cannot tell: the times were counted at 30 Hz" in result.output


def test_simulated_footage_says_so(room):
    simulate(room / "barn-wall", "grid", room / "marks", 7, columns=2, rows=1, frames_per_place=2)
    result = run("rate", "--frames", room / "marks", "--rig", room / "barn-wall", "--out",
                 room / "simulated")  # fmt: skip
    assert result.exit_code == 0, result.output
    assert "(simulated pictures)" in result.output
    assert json.loads((room / "simulated" / f"{PART}-rate.json").read_text())["basis"] == (
        "simulated"
    )


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["focsu"], 'inspect = "focsu" is no step; use one of sees-infrared, rate, exposure, '
                    "noise, row-time, compression, focus, emitters, at-rest."),
        (["at-rest", "--frames", "{sheet}"],
         "--frames holds pictures, and at-rest listens to a sensor; give --live."),
        (["noise", "--frames", "nowhere"], "nowhere does not exist; check the path."),
        (["row-time", "--frames", "{sheet}/dark"],
         'row-time: frequency must be given, above 0; give --frequency "100 Hz" for a mains lamp '
         'at 50 Hz, "120 Hz" at 60 Hz.'),
        (["row-time", "--frames", "{sheet}/dark", "--frequency", "100"],
         '--frequency = "100" is a bare number where a frequency with its unit is needed; write '
         '"100 Hz".'),
        (["rate", "--frames", "{sheet}"],
         "rate = '1 ms', '2 ms', '4 ms', 'dark' wants exactly one take; give the folder or video "
         "of a single one."),
        (["noise", "--frames", "{sheet}", "--emitter", "ir850-3mm-20"],
         '--emitter = "ir850-3mm-20" belongs to no rig; give --rig too.'),
        (["noise", "--frames", "{sheet}", "--frames", "{sheet}/dark"],
         '--frames = "dark" names two takes; give each its own name.'),
    ],
)  # fmt: skip
def test_wrong_input_is_one_sentence(room, arguments, sentence):
    given = [each.replace("{sheet}", str(room / "sheet")) for each in arguments]
    result = run(*given)
    assert isinstance(result.exception, RushlightError)
    assert [str(each) for each in result.exception.findings] == [sentence]
