"""Kits of rigs in space: every file, drawing and word, on coarse plans of the invented rigs."""

from __future__ import annotations

import re
import shutil
import tomllib
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from typer.main import get_command
from typer.testing import CliRunner

from rushlight.cli import app
from rushlight.errors import RushlightError
from rushlight.jobs.kit import kit
from rushlight.jobs.load import load_rig
from rushlight.jobs.plan_space import planned_space
from rushlight.physics.cautions import CAUTIONS
from rushlight.publish.space_expectations import space_headlines, space_tolerances
from rushlight.publish.space_steps import space_steps
from rushlight.publish.space_views import room_views, thing_views
from rushlight.records.document import read_document
from rushlight.records.kit import Kit
from rushlight.records.space_footage import SpaceFootage
from rushlight.records.space_plan import SpacePlan
from rushlight.shelf.resolve_space import resolve_space

SCENARIOS = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios"
NAMES = ("paper-theatre", "ferry-model", "choir-baton")


@pytest.fixture(scope="module", params=NAMES)
def made(request, tmp_path_factory):
    """A kit without an assessment, and the folder of its rig."""
    folder = tmp_path_factory.mktemp(request.param) / "rig"
    shutil.copytree(SCENARIOS / request.param, folder)
    planned = planned_space(folder, cells=(2, 2, 2)).plan
    planned = planned.stamped("predicted", inputs={"rig": planned.rig})
    planned.write(folder / "plan.json")
    result = kit(folder, folder / "plan.json", out=folder / "kit")
    return request.param, folder, result, (folder / "kit/index.html").read_text()


@pytest.fixture(scope="module")
def spaces():
    return {name: resolve_space(*load_rig(SCENARIOS / name)) for name in NAMES}


def test_every_file_is_listed_and_reads_back(made):
    name, folder, result, _ = made
    read = read_document(Kit, folder / "kit/kit.json")
    assert read.name == name
    there = {
        path.relative_to(folder / "kit").as_posix()
        for path in (folder / "kit").rglob("*")
        if path.is_file()
    }
    listed = {each.path for each in read.files}
    assert there == listed | {"kit.json", "manifest-sha256.txt"}
    assert {"data/plan.json", "data/space.json", "pictures/view-front.svg"} <= listed
    assert ("scene.toml" in listed) == (name == "paper-theatre")
    assert result.zip.is_file()


def test_what_is_wanted_stands_beside_the_figure_by_which_it_is_judged(made, spaces):
    """The plan judges coverage place by place; single fixes are another figure."""
    name, folder, _, _ = made
    rig, _ = load_rig(folder)
    plan = read_document(SpacePlan, folder / "plan.json")
    told = {each.what: each for each in plan.targets}
    rows = [each for each in space_headlines(rig, plan, spaces[name], None) if each.wanted]
    assert len(rows) == len(told)
    for row in rows:
        (target,) = [
            each for each in told.values() if f" {each.wanted:g} {each.unit}:" in row.wanted
        ]
        shown = float(re.match(r"[\d.]+", row.predicted.text)[0])
        assert shown == pytest.approx(target.predicted, rel=0.02)


def test_the_same_documents_give_the_same_bytes(made):
    _, folder, result, _ = made
    again = kit(folder, folder / "plan.json", out=folder / "again")
    for each in result.kit.files:
        assert (folder / "again" / each.path).read_bytes() == (
            folder / "kit" / each.path
        ).read_bytes()
    assert again.kit.content_hash() == result.kit.content_hash()


def test_the_page_is_whole_and_says_what_nobody_tried(made):
    name, _, result, page = made
    plain = re.sub(r"<svg.*?</svg>|<style.*?</style>|base64,\S+", "", page, flags=re.DOTALL)
    assert not re.search(r"\b(Traceback|None|nan|Undefined)\b", plain)
    for needed in ("Untried on hardware", "This rig is invented", "Every figure here is predicted",
                   "on no camera, no lights and no person", "local codes"):  # fmt: skip
        assert needed in page, needed
    for hazard in ("eye", "cell", "mains", "heat", "motion", "picture"):
        assert any(CAUTIONS[hazard] in text for text in result.kit.cautions), hazard
    if name == "paper-theatre":
        assert "dizzy" in page and "Look past them" in page
    assert not re.search(r"\bsafe\b", page, re.IGNORECASE)


def test_counts_and_places_are_told_as_one_would(made):
    name, _, _, page = made
    assert "once, once" not in page and "facing the tip" not in page
    assert page.count("Build this circuit once, for ") == (2 if name == "choir-baton" else 1)
    assert not re.search(r"\b[xyz] -\d", page), "a hyphen for a minus sign"
    assert ("On a screen that lies flat" in page) == (name != "choir-baton")
    if name == "choir-baton":
        assert page.count(">Resistor, ") == 1, "equal resistors are one line"
        assert "Set its light where" in page and "Set its 2 lights where" in page
    if name == "ferry-model":
        assert "Fix the lens at x 0.475\u00a0m, y 0.10\u00a0m, z 1.15\u00a0m" in page


def test_every_table_has_its_head_and_every_drawing_its_words(made):
    _, _, _, page = made
    assert page.count("<caption>") == page.count("<table")
    assert page.count("<figure") == page.count("<figcaption>")
    for svg in re.findall(r"<svg.*?</svg>", page, re.DOTALL):
        root = ElementTree.fromstring(svg)
        assert root.find("{http://www.w3.org/2000/svg}desc").text


def test_commands_on_the_page_exist_with_the_options_they_use(made):
    _, _, result, _ = made
    verbs = get_command(app).commands
    for step in result.kit.steps:
        for command in step.commands:
            words = command.split()
            if words[0] != "rushlight":
                continue
            known = {name for each in verbs[words[1]].params for name in each.opts}
            assert {word for word in words if word.startswith("--")} <= known, command


def test_the_page_s_registration_runs_as_it_is_written(made, monkeypatch, tmp_path):
    """Options that exist may still be refused together: each command goes as far as its input."""
    _, folder, result, _ = made
    monkeypatch.chdir(tmp_path)
    shutil.copy(folder / "rig.toml", tmp_path)
    commands = [c for step in result.kit.steps for c in step.commands if " register " in c]
    assert len(commands) == 2
    for command in commands:
        told = CliRunner().invoke(app, command.split()[1:], input="f\n")
        assert isinstance(told.exception, RushlightError), command
        ends = r"holds no space.json|camera:\d is not there|0 steps were made"
        assert re.search(ends, str(told.exception)), command


def test_looks_are_made_with_the_eye_that_is_tracked(tmp_path):
    """With one eye shut, the point between both would be registered half their distance aside."""
    told = {}
    for which, place in ((None, "0 mm"), ("left", "-32 mm"), ("right", "32 mm")):
        folder = tmp_path / str(which)
        shutil.copytree(SCENARIOS / "paper-theatre", folder)
        text = (folder / "rig.toml").read_text()
        line = 'name = "eye"\nposition = ["0 mm"'
        assert line in text
        more = "" if which is None else f'\nwhich = "{which}"'
        changed = text.replace(line, f'name = "eye"{more}\nposition = ["{place}"')
        (folder / "rig.toml").write_text(changed)
        rig, shelf = load_rig(folder)
        plan = planned_space(folder, cells=(1, 1, 1)).plan
        steps = space_steps(rig, plan, resolve_space(rig, shelf), [])
        told[which] = next(each.text for each in steps if each.title.startswith("Look past them"))
    assert "keep both eyes open" in told[None] and "shut" not in told[None]
    assert "shut the right eye" in told["left"] and "shut the left eye" in told["right"]


def test_lights_stand_in_the_table_where_the_rig_has_them(made):
    _, folder, _, page = made
    rig = tomllib.loads((folder / "rig.toml").read_text())
    for carried in rig["carried"]:
        for light in carried["emitters"]:
            cells = "".join(
                rf"<td[^>]*>{re.escape(step.replace('-', '−').replace(' ', chr(160)))}</td>"
                for step in light["position"]
            )
            assert re.search(rf'<th scope="row">{light["id"]}</th><td[^>]*>light</td>{cells}', page)


def test_what_to_lay_beside_films_holds_the_marks_of_the_plan(made):
    name, folder, _, _ = made
    sheet = read_document(SpaceFootage, folder / "kit/data/space.json")
    assert (len(sheet.marks) > 0) == (name != "choir-baton")
    assert not sheet.simulated


@pytest.mark.parametrize("name", NAMES)
def test_drawings_are_to_scale(spaces, name):
    space = spaces[name]
    things = [*space.things, *([space.scale_bar] if space.scale_bar else [])]
    for drawing in [*room_views(space), *(view for thing in things for view in thing_views(thing))]:
        root = ElementTree.fromstring(drawing.svg)
        scale = float(root.get("data-scale"))
        for group in root.iter("{http://www.w3.org/2000/svg}g"):
            if group.get("class") != "dimension":
                continue
            line = next(each for each in group if each.get("class") == "measure")
            x1, y1, x2, y2 = (float(line.get(key)) for key in ("x1", "y1", "x2", "y2"))
            drawn_m = np.hypot(x2 - x1, y2 - y1) * scale / 1e3
            assert drawn_m == pytest.approx(float(group.get("data-metres")), abs=2e-3 * scale / 10)
        for shape in root.iter("{http://www.w3.org/2000/svg}circle"):
            assert 0.0 <= float(shape.get("cx")) <= 180.0


def test_the_wedge_of_a_view_stays_on_the_paper(spaces):
    for space in spaces.values():
        for drawing in room_views(space):
            root = ElementTree.fromstring(drawing.svg)
            tall = float(root.get("viewBox").split()[3])
            for shape in root.iter("{http://www.w3.org/2000/svg}polygon"):
                for pair in shape.get("points").split():
                    x, y = map(float, pair.split(","))
                    assert 0.0 <= x <= 180.0 and 0.0 <= y <= tall


def test_a_zone_s_name_lies_on_no_screen_seen_from_its_edge(spaces):
    [side] = [each for each in room_views(spaces["ferry-model"]) if each.name == "view-side"]
    tree = ElementTree.fromstring(side.svg)
    [screen] = [each for each in tree.iter() if each.get("class") == "screen"]
    edge = max(float(corner.split(",")[0]) for corner in screen.get("points").split())
    [name] = [each for each in tree.iter() if (each.text or "").startswith("zone of")]
    assert name.get("text-anchor") == "start"
    assert edge < float(name.get("x")) < edge + 5.0


def test_bounds_rest_on_the_plan_and_the_targets(made, spaces):
    name, folder, result, _ = made
    rig = result.kit.rig
    from rushlight.records.space_plan import SpacePlan

    plan = read_document(SpacePlan, folder / "plan.json")
    bounds = {each.figure: each for each in space_tolerances(rig, plan, spaces[name])}
    [error] = [
        f.value for f in plan.figures
        if (f.name, f.cause, f.statistic, f.scope.condition) == ("error", "all", "rms", None)
        and f.scope.carried
    ]  # fmt: skip
    # √(χ² at 95 % with 3 degrees of freedom / 3), from its tables: 7.815.
    assert bounds["error"].high == pytest.approx(error * np.sqrt(7.815 / 3), rel=1e-3)
    assert bounds["delay"].high == pytest.approx(1e3 * rig.targets.delay.value)
    assert ("turn-error" in bounds) == (name == "ferry-model")
