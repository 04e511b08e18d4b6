"""Verbs of surface rigs, given a rig in space: each says for what it is, and what to do instead."""

from pathlib import Path

import pytest

from rushlight.cli import main
from rushlight.errors import RushlightError
from rushlight.jobs.rehearsal import open_rehearsal

SCENARIOS = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios"
TOUCHED = "follows things in space, and this check is for rigs whose surface is touched"
AIMED = "follows things in space, and aiming is for rigs whose surface is pointed at"


@pytest.mark.parametrize(
    ("words", "scenario", "sentences"),
    [
        (["ready", "--rig"], "choir-baton", [TOUCHED, "swing the scale bar anew", "its length"]),
        (["ready", "--rig"], "paper-theatre", [TOUCHED, "register it anew by a few looks"]),
        (["aim"], "paper-theatre", [AIMED, "register this rig"]),
        (["aim", "--camera", "rehearsal:1:askew"], "paper-theatre", [AIMED, "register this rig"]),
        (["aim", "--camera", "rehearsal:1:askew"], "choir-baton", [AIMED, "register this rig"]),
    ],
)
def test_what_a_verb_is_for_is_said_at_once(monkeypatch, capsys, words, scenario, sentences):
    rig = SCENARIOS / scenario
    given = [*words, str(rig)] if words[-1] == "--rig" else [words[0], str(rig), *words[1:]]
    monkeypatch.setattr("sys.argv", ["rushlight", *given])
    with pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code == 2
    said = capsys.readouterr().err
    assert said.startswith("rig.toml: kinds = ") and said.count("\n") == 1
    for each in sentences:
        assert each in said
    assert "use rehearsal" not in said and "missing" not in said


def test_no_refusal_proposes_a_rehearsal_that_is_refused_as_well():
    with pytest.raises(RushlightError, match="cannot be rehearsed together yet"):
        open_rehearsal("rehearsal:1:askew", SCENARIOS / "choir-baton")
    with pytest.raises(RushlightError, match="use rehearsal:1"):
        open_rehearsal("rehearsal:1:askew", SCENARIOS / "paper-theatre")
