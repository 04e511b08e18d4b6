"""The kit as files: complete, checkable, repeatable, and never laid over something else."""

from __future__ import annotations

import csv
import io
import json
import subprocess
import zipfile
from dataclasses import replace
from pathlib import Path

import pytest

from rushlight.errors import RushlightError
from rushlight.jobs.kit import kit as publish
from rushlight.jobs.load import load_rig
from rushlight.publish.files import manifest_text, read_manifest, sha256, zip_bytes
from rushlight.publish.kit import build_kit
from rushlight.records.document import read_document
from rushlight.records.kit import Kit


@pytest.fixture
def made(barn):
    return publish(barn, plan=barn / "plan" / "plan.json", out=barn / "kit")


def test_manifest_passes_the_standard_tool(made):
    done = subprocess.run(
        ["sha256sum", "-c", "--strict", "manifest-sha256.txt"],
        cwd=made.folder, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    listed = {line.split(": ")[0] for line in done.stdout.splitlines()}
    on_disk = {str(p.relative_to(made.folder)) for p in made.folder.rglob("*") if p.is_file()}
    assert on_disk == listed | {"manifest-sha256.txt"}
    (made.folder / "index.html").write_text("changed")
    done = subprocess.run(
        ["sha256sum", "-c", "manifest-sha256.txt"],
        cwd=made.folder,
        capture_output=True,
        check=False,
    )
    assert done.returncode != 0


def test_the_archive_holds_the_folder(made):
    with zipfile.ZipFile(made.zip) as archive:
        assert archive.testzip() is None
        inside = {name: archive.read(name) for name in archive.namelist()}
        assert {entry.date_time for entry in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        assert archive.namelist() == sorted(archive.namelist())
    outside = {
        f"barn-wall-edition-1/{path.relative_to(made.folder)}": path.read_bytes()
        for path in made.folder.rglob("*")
        if path.is_file()
    }
    assert inside == outside


def test_the_rig_is_the_users_own_file_with_its_comments(made, barn):
    ours, theirs = made.folder / "rig.toml", barn / "rig.toml"
    assert ours.read_bytes() == theirs.read_bytes()
    assert b"# The barn wall" in ours.read_bytes()
    assert load_rig(made.folder)[0] == load_rig(barn)[0]


def test_the_same_input_gives_the_same_bytes(made, barn):
    archive = made.zip.read_bytes()
    again = publish(barn, plan=barn / "plan" / "plan.json", out=barn / "kit")
    assert again.zip.read_bytes() == archive
    elsewhere = publish(barn, plan=barn / "plan" / "plan.json", out=barn / "other" / "kit")
    assert elsewhere.zip.read_bytes() == archive


def test_the_document_reads_back_and_lists_every_file(made):
    document = read_document(Kit, made.folder / "kit.json")
    assert document.content_hash() == document.header.content_hash == made.kit.content_hash()
    for file in document.files:
        assert sha256((made.folder / file.path).read_bytes()) == file.sha256
        assert file.licence == "CERN-OHL-P-2.0"
    listed = {file.path for file in document.files}
    on_disk = {str(p.relative_to(made.folder)) for p in made.folder.rglob("*") if p.is_file()}
    assert on_disk - listed == {"kit.json", "manifest-sha256.txt"}
    bases = {file.path: file.basis for file in document.files}
    assert bases["rig.toml"] == "invented"
    assert bases["data/plan.json"] == "predicted"


def test_figures_as_a_table_carry_units_and_basis(source):
    _, files = build_kit(source)
    rows = list(csv.DictReader(io.StringIO(files["data/figures.csv"].decode(), newline="")))
    assert len(rows) == len(source.plan.figures) + len(source.assessment.figures)
    assert all(row["unit"] and row["basis"] for row in rows if row["value"])
    simulated = [row for row in rows if row["document"] == "data/assessment.json"]
    assert {row["basis"] for row in simulated} == {"simulated"}
    assert float(simulated[0]["value"]) == 91.0
    assert len({tuple(row) for row in rows}) == 1


def test_bounds_for_a_rebuild_come_from_plan_and_targets(source):
    kit, _ = build_kit(source)
    bounds = {(each.figure, each.statistic): each for each in kit.tolerances}
    wanted = next(
        f for f in source.plan.figures
        if (f.name, f.cause, f.statistic) == ("error", "all", "rms") and not f.scope.carried
    )  # fmt: skip
    assert bounds["error", "rms"].high == wanted.high
    assert bounds["error", "rms"].basis == "predicted"
    assert "5 in 100" in bounds["error", "rms"].ground
    assert bounds["coverage", "share"].low == pytest.approx(90.0)
    assert bounds["delay", "mean"].high == pytest.approx(90.0)


def test_with_assessment_and_registration_their_data_and_pictures_are_there(
    barn, assessed, registered
):
    assessed.write(barn / "assessment.json")
    registered.write(barn / "registration.json")
    result = publish(
        barn,
        plan=barn / "plan" / "plan.json",
        assessment=barn / "assessment.json",
        registration=barn / "registration.json",
    )
    names = {file.path for file in result.kit.files}
    assert {"data/assessment.json", "data/registration.json"} <= names
    assert "pictures/simulated-registration.svg" in names
    assert result.kit.header.basis == "simulated"
    page = (result.folder / "index.html").read_text()
    assert "vouched for" in page


def test_files_that_the_rig_needs_come_along(barn):
    shelf = 'schema = "rushlight/shelf"\nversion = 1\n# our own parts\n'
    (barn / "own.shelf.toml").write_text(shelf)
    (barn / "footage.avi").write_bytes(b"no footage in kits")
    result = publish(barn, plan=barn / "plan" / "plan.json")
    assert (result.folder / "own.shelf.toml").read_text() == shelf
    assert not list(result.folder.rglob("*.avi"))


def test_without_a_plan_the_rig_is_planned(barn):
    result = publish(barn)
    assert json.loads((result.folder / "data" / "plan.json").read_text())["rig_name"] == "barn-wall"


def sentence(error):
    return str(error.value)


def test_a_folder_that_is_no_kit_is_left_alone(barn):
    (barn / "kit").mkdir()
    (barn / "kit" / "thesis.txt").write_text("years of work")
    with pytest.raises(RushlightError) as error:
        publish(barn, plan=barn / "plan" / "plan.json")
    assert "holds something other than a kit; choose another place with --out" in sentence(error)
    assert (barn / "kit" / "thesis.txt").read_text() == "years of work"
    assert not (barn / "kit.zip").exists()


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda kit: (kit / "notes.txt").write_text("mine"), "holds notes.txt, which is no part"),
        (
            lambda kit: (kit / "index.html").write_text("mine"),
            "holds index.html, which was changed",
        ),
    ],
)
def test_work_of_the_users_in_a_kit_is_not_lost(made, barn, spoil, words):
    spoil(made.folder)
    with pytest.raises(RushlightError) as error:
        publish(barn, plan=barn / "plan" / "plan.json")
    assert words in sentence(error)


def test_an_archive_that_is_no_kit_is_left_alone(barn):
    (barn / "kit.zip").write_bytes(zip_bytes({"a.txt": b"a"}, "mine"))
    with pytest.raises(RushlightError, match="is there already and holds no kit"):
        publish(barn, plan=barn / "plan" / "plan.json")
    assert not (barn / "kit").exists()


def test_a_later_edition_names_the_one_that_it_replaces(made, barn):
    first = made.kit.content_hash()
    second = publish(barn, plan=barn / "plan" / "plan.json", edition=2)
    assert second.kit.edition_supersedes == second.kit.header.supersedes == first
    assert first in (second.folder / "index.html").read_text()
    with pytest.raises(RushlightError, match=r"is below edition 2.*give --edition 3"):
        publish(barn, plan=barn / "plan" / "plan.json", edition=1)


def test_documents_of_another_rig_are_refused(barn, planned):
    planned.model_copy(update={"rig": "0" * 64}).write(barn / "other.json")
    with pytest.raises(
        RushlightError, match=r"other\.json was made from another rig than barn-wall"
    ):
        publish(barn, plan=barn / "other.json")
    with pytest.raises(RushlightError, match=r"missing\.json does not exist"):
        publish(barn, plan=barn / "missing.json")
    with pytest.raises(RushlightError, match='is not "rushlight/assessment"'):
        publish(barn, plan=barn / "plan" / "plan.json", assessment=barn / "plan" / "plan.json")


def test_a_rig_with_errors_is_not_published(barn):
    text = (barn / "rig.toml").read_text()
    (barn / "rig.toml").write_text(text.replace("vga-global-120", "vga-global-12"))
    with pytest.raises(RushlightError, match="vga-global-12"):
        publish(barn)
    assert not (barn / "kit").exists()


def test_real_people_are_thought_of_before_handing_on(barn):
    text = (barn / "rig.toml").read_text().replace('\nbasis = "invented"', '\nbasis = "typical"', 1)
    (barn / "rig.toml").write_text(text)
    result = publish(barn)
    assert "people-published" in [finding.code for finding in result.findings]
    assert not any("invented" in notice for notice in result.kit.notices)


def test_manifest_reads_back():
    files = {"b/ü.txt": b"1", "a.txt": b"2"}
    assert read_manifest(manifest_text(files).decode()) == {
        path: sha256(content) for path, content in files.items()
    }


def test_no_place_of_this_computer_goes_into_a_kit(made, source):
    _, files = build_kit(replace(source, edition=3))
    for content in files.values():
        assert str(Path.home()).encode() + b"/" not in content
        assert str(made.folder.parent).encode() not in content
