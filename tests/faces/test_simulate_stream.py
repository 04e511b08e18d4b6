"""The verbs check, plan and simulate with a camera whose pictures are compressed."""

import json
import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

from rushlight.cli import app
from rushlight.records.document import read_document
from rushlight.records.session import FootageHeader

BARN_WALL = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios/barn-wall"


@pytest.fixture
def barn(tmp_path):
    """The barn wall with a stream of the given quality."""

    def make(quality):
        shutil.copy(BARN_WALL / "rig.toml", tmp_path)
        text = (tmp_path / "rig.toml").read_text("utf-8")
        line = f'stream = {{ codec = "mjpeg", quality = {quality} }}\n'
        assert text.count("[[cameras]]\n") == 1
        text = text.replace("[[cameras]]\n", f"[[cameras]]\n{line}")
        (tmp_path / "rig.toml").write_text(text, "utf-8")
        return tmp_path

    return make


def run(*arguments):
    return CliRunner(env={"COLUMNS": "300"}).invoke(app, [str(each) for each in arguments])


def test_footage_of_a_compressed_stream_says_that_it_is(barn):
    given = ("--script", "grid", "--columns", 1, "--rows", 1, "--frames-per-place", 2)
    rig = barn(4)
    result = run("simulate", rig, *given)
    assert result.exit_code == 0, result.output
    assert "compressed and decoded again (MJPEG quantiser 4)" in result.output
    header = read_document(FootageHeader, rig / "simulated" / "grid" / "footage.json")
    assert header.stream is not None
    assert header.stream.quality == 4


def test_without_the_cause_it_belongs_to_footage_is_raw(barn, tmp_path):
    result = run(
        "simulate", barn(4), "--script", "grid", "--columns", 1, "--rows", 1,
        "--frames-per-place", 2, "--without", "centre", "--json", "--out", tmp_path / "made",
    )  # fmt: skip
    assert json.loads(result.stdout)["compression"] == "raw"


def test_a_quality_that_does_not_exist_stops_the_check(barn):
    result = run("check", barn(40))
    assert result.exit_code == 2
    assert "cameras[0].stream.quality = 40 is no quantiser of MJPEG; use 1 to 31" in result.output
