"""The verb `aim`: its answers, and its errors."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from rushlight.cli import app
from rushlight.errors import RushlightError
from rushlight.jobs.new import new

BARN_WALL = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios/barn-wall/rig.toml"


@pytest.fixture(scope="module")
def aimed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The barn wall with a slow camera, aimed once by the command."""
    folder = tmp_path_factory.mktemp("aimed")
    text = BARN_WALL.read_text(encoding="utf-8")
    (folder / "rig.toml").write_text(text.replace('rate = "100 Hz"', 'rate = "15 Hz"'))
    words = ["aim", str(folder), "--camera", "rehearsal:3:askew", "--places", "4"]
    done = CliRunner().invoke(app, words)
    assert done.exit_code in (0, 1), done.output
    assert "aimed by simulated lights" in done.stdout
    assert "looking at the room" in done.stderr
    assert "hold the light of stylus-" in done.stderr
    return folder


def test_the_kept_aim_is_told_as_values_and_in_words(aimed: Path) -> None:
    told = json.loads(CliRunner().invoke(app, ["aim", str(aimed), "--json"]).stdout)
    assert told["basis"] == "simulated"
    assert told["found"]["x_std_cm"] > 0.0
    assert told["corners"][0]["name"] == "upper-left"
    shown = CliRunner().invoke(app, ["aim", str(aimed)])
    assert shown.exit_code == (0 if told["reached"] else 1)
    assert "coverage as the camera stands, predicted" in shown.stdout
    if not told["reached"]:
        assert "on a ladder" in shown.stdout


def refused(*words: str) -> str:
    with pytest.raises(RushlightError) as caught:
        CliRunner().invoke(app, ["aim", *words], catch_exceptions=False)
    return str(caught.value)


def test_wrong_input_is_said_in_a_sentence(aimed: Path, tmp_path: Path) -> None:
    new(tmp_path / "wall")
    rig, live = str(aimed), ("--camera", "rehearsal:3")
    assert "nothing was aimed yet" in refused(str(tmp_path / "wall"))
    assert "is not from 3 to 9" in refused(rig, *live, "--places", "2")
    assert "is no stylus of the rig" in refused(rig, *live, "--stylus", "quill")
    assert "ends in no word that a rehearsal knows" in refused(rig, "--camera", "rehearsal:3:off")
    assert "has no whole number" in refused(rig, "--camera", "rehearsal:x:askew")
    new(tmp_path / "baton", "volume")
    assert "whose surface is pointed at" in refused(str(tmp_path / "baton"))
    assert "does not exist" in refused(str(tmp_path / "nowhere"))
    (tmp_path / "wall" / "aim.json").write_text("{}")
    assert 'is not "rushlight/aim"' in refused(str(tmp_path / "wall"))
