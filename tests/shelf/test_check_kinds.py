"""What a kind of rig cannot do without, and what is said of rigs of several kinds."""

import json
import tomllib

import pytest

from rushlight.jobs.check import check


@pytest.mark.parametrize(
    ("removed", "code"),
    [("surfaces", "surface-missing"), ("people", "person-missing"), ("ambient", "ambient-missing")],
)
def test_a_surface_rig_without_what_it_needs(barn, removed, code):
    data = _data(barn)
    del data[removed]
    if removed == "ambient":
        del data["room"]["windows"], data["room"]["lamps"]
    if removed == "people":
        for carried in data["carried"]:
            del carried["person"]
    assert code in {each.code for each in _findings(data, barn) if each.severity == "error"}


def test_a_surface_rig_needs_a_stylus_that_shines(barn):
    data = _data(barn)
    for carried in data["carried"]:
        carried["kind"] = "cap"
    found = _findings(data, barn)
    assert [each.code for each in found if each.severity == "error"] == ["stylus-missing"]
    assert [each.code for each in found if each.severity == "note"] == ["carried-not-computed"] * 2


def test_of_a_rig_of_several_kinds_only_the_surface_is_said_to_be_computed(barn):
    data = _data(barn)
    data["kinds"] = ["surface", "volume"]
    note = next(each for each in _findings(data, barn) if each.code == "kind-not-computed")
    assert str(note) == (
        'rig.json: kinds = ["surface", "volume"] is read and checked, but of a rig of several '
        "kinds only the surface is computed yet; keep the volume part in a rig of its own to have "
        "it planned."
    )
    assert note.severity == "note"


def test_parts_of_other_kinds_are_checked_too(barn):
    data = _data(barn)
    data["kinds"] = ["volume"]
    data["cameras"][0]["part"] = "none-such"
    assert "part-unknown" in {each.code for each in _findings(data, barn)}


def _data(folder):
    return tomllib.loads((folder / "rig.toml").read_text("utf-8"))


def _findings(data, folder):
    path = folder / "rig.json"
    path.write_text(json.dumps(data), "utf-8")
    return check(path).findings
