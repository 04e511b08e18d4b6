"""What a kit would hold: the very kit that is then made, and what is missing before it is."""

from __future__ import annotations

import json

import pytest
from typer.testing import CliRunner

from rushlight.cli import app
from rushlight.errors import RushlightError
from rushlight.jobs.kit_preview import kit_preview, make_kit
from rushlight.jobs.progress import ToldInFile, told_in


@pytest.fixture
def whole(barn, assessed, registered):
    """The rig with everything that a kit is made from."""
    assessed.write(barn / "assessment" / "assessment.json")
    registered.write(barn / "registration.json")
    return barn


def codes(shown):
    return {each.code for each in shown.lacking}


def test_what_is_missing_is_told_and_gone_once_it_is_there(barn, assessed, registered):
    shown = kit_preview(barn)
    assert {"kit-no-registration", "kit-no-assessment"} <= codes(shown)
    assert "kit-no-plan" not in codes(shown)
    assert all(each.remedy for each in shown.lacking)
    assessed.write(barn / "assessment" / "assessment.json")
    registered.write(barn / "registration.json")
    after = kit_preview(barn)
    assert not codes(after) & {"kit-no-registration", "kit-no-assessment"}
    assert "kit-simulated" in codes(after)
    assert after.made.kit.header.basis == "simulated"
    assert not (barn / "kit").exists()


def test_what_was_shown_is_what_is_made(whole, tmp_path):
    shown = kit_preview(whole)
    told = tmp_path / "told.json"
    made = make_kit(whole, ToldInFile(told))
    assert told_in(told) == ("writing", 1.0)
    assert (made.folder / "index.html").read_bytes() == shown.page
    again = kit_preview(whole)
    assert again.is_published
    assert again.made.kit.edition == 1


def test_a_kit_that_would_differ_is_the_next_edition(whole, assessed):
    first = make_kit(whole).kit
    changed = assessed.model_copy(update={"conditions": ["otherwise"]})
    changed.stamped("simulated", inputs={"rig": assessed.rig}).write(
        whole / "assessment" / "assessment.json"
    )
    shown = kit_preview(whole)
    assert not shown.is_published
    assert shown.made.kit.edition == 2
    assert shown.made.kit.edition_supersedes == first.content_hash()


def test_a_place_that_holds_something_else_prevents_it(whole):
    (whole / "kit").mkdir()
    (whole / "kit" / "letter.txt").write_text("not a kit")
    shown = kit_preview(whole)
    assert [each.code for each in shown.lacking if each.severity == "error"] == ["kit-place-taken"]
    with pytest.raises(RushlightError, match="other than a kit"):
        make_kit(whole)
    assert (whole / "kit" / "letter.txt").read_text() == "not a kit"


def test_the_command_tells_the_same(whole):
    done = CliRunner().invoke(app, ["kit", str(whole), "--preview", "--json"])
    assert json.loads(done.stdout) == kit_preview(whole).as_dict()
    refused = CliRunner().invoke(app, ["kit", str(whole), "--preview", "--out", "x"])
    assert "not heeded by --preview" in str(refused.exception)
