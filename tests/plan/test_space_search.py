"""Searching rigs in space: what is found holds in a plan, and none of the front betters another."""

import json
import math
import shutil
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

import rushlight.jobs as jobs
from rushlight.cli import app
from rushlight.errors import RushlightError
from rushlight.jobs.load import load_rig
from rushlight.jobs.search_space import search_in_space
from rushlight.plan.space_evaluate import evaluate_space
from rushlight.plan.space_search import preference
from rushlight.records.document import read_document
from rushlight.records.space_search import SpaceSearchResult
from rushlight.shelf.resolve_space import resolve_space

SCENARIOS = Path(jobs.__file__).parent / "scenarios"
PLACES = {
    "paper-theatre": """
[[room.places]]
id = "below"
kind = "table"
corner = ["0 m", "-0.1 m", "0.1 m"]
opposite = ["0.6 m", "-0.05 m", "0.3 m"]
[[room.places]]
id = "behind"
kind = "shelf"
corner = ["0 m", "0.2 m", "1.5 m"]
opposite = ["0.6 m", "0.3 m", "1.6 m"]
[search]
cameras = ["vga-global-120", "mono-global-720p"]
filters = ["long-pass-850"]
emitters = ["ir850-5mm-60"]
currents = ["1 mA", "2 mA"]
[search.prices]
mono-global-720p = { amount = 45.00, currency = "EUR", date = "2026-03", basis = "invented" }
""",
    "ferry-model": """
[[room.places]]
id = "arm"
kind = "ceiling"
corner = ["0.3 m", "0 m", "1 m"]
opposite = ["0.65 m", "0.4 m", "1.4 m"]
""",
    "choir-baton": """
[[room.places]]
id = "left-stand"
kind = "tripod"
corner = ["-1.2 m", "1.1 m", "-1.4 m"]
opposite = ["-0.4 m", "1.6 m", "-1 m"]
[[room.places]]
id = "right-stand"
kind = "tripod"
corner = ["0.4 m", "1.1 m", "-1.4 m"]
opposite = ["1.2 m", "1.6 m", "-1 m"]
""",
}


def rig_of(name, home, more=""):
    shutil.copytree(SCENARIOS / name, home, dirs_exist_ok=True)
    with (home / "rig.toml").open("a", encoding="utf-8") as file:
        file.write(PLACES[name] + more)
    return home


@pytest.mark.parametrize("name", PLACES)
def test_the_one_to_take_is_what_its_plan_says(name, tmp_path):
    home = rig_of(name, tmp_path)
    found = search_in_space(home, tried=8, seed=2, best=1)
    assert found == read_document(SpaceSearchResult, home / "search/search.json")
    assert found.header.basis == "predicted" and found.tried > 10
    one = found.chosen
    text = (home / "rig.toml").read_text("utf-8").splitlines()
    camera = -1
    for i, line in enumerate(text):
        camera += line.startswith("[[cameras]]")
        if camera < 0 or line.startswith("[[carried]]"):
            camera = -9 if line.startswith("[[carried]]") else camera
            continue
        swaps = {
            "part": f'"{one.camera}"',
            "position": json.dumps([f"{v:g} m" for v in one.positions_m[camera]]),
            "look_at": json.dumps([f"{v:g} m" for v in one.look_at_m]),
            "exposure": '"auto"',
        }
        key = line.split(" = ")[0]
        text[i] = f"{key} = {swaps[key]}" if key in swaps else line
    written = "\n".join(text)
    if one.current_a is not None:
        lines = [
            f'current = "{1e3 * one.current_a:g} mA"' if each.startswith("current = ") else each
            for each in written.splitlines()
        ]
        written = "\n".join(lines)
    (home / "rig.toml").write_text(written + "\n", "utf-8")
    planned = evaluate_space(resolve_space(*load_rig(home)))
    assert planned.error_m() == pytest.approx(one.error_rms_m, rel=1e-3)
    assert planned.coverage == pytest.approx(one.coverage, abs=1e-3)
    boxes = {"below": (0.1, 0.3), "behind": (1.5, 1.6)}
    if name == "paper-theatre":
        low, high = boxes[one.places[0]]
        assert low <= one.positions_m[0][2] <= high


def test_none_of_the_front_is_bettered_and_the_first_is_preferred(tmp_path):
    found = search_in_space(rig_of("paper-theatre", tmp_path), tried=12, seed=3, best=1)
    worth = np.array([[e.cost, e.error_rms_m, -e.coverage, e.delay_s] for e in found.candidates])
    for i, own in enumerate(worth):
        assert not any(
            np.all(other <= own) and np.any(other < own)
            for j, other in enumerate(worth) if j != i
        )  # fmt: skip
    assert [preference(e) for e in found.candidates] == sorted(
        preference(e) for e in found.candidates
    )
    assert found.own is not None and found.own.places == [""]
    # A camera behind the wearer's head sees lights that shine the other way: it is thrown out.
    assert any(each.of == "candidate" for each in found.thrown_out)


def test_the_same_seed_finds_the_same(tmp_path):
    home = rig_of("paper-theatre", tmp_path)
    once, again, other = (
        search_in_space(home, tmp_path / str(i), seed=seed, tried=3, best=1)
        for i, seed in enumerate((4, 4, 5))
    )
    assert once.candidates == again.candidates
    assert once.candidates != other.candidates


def test_what_cannot_be_searched_is_refused(tmp_path):
    with pytest.raises(RushlightError, match=r"room\.places is missing"):
        search_in_space(SCENARIOS / "ferry-model", tmp_path / "out")
    home = rig_of("paper-theatre", tmp_path / "rig")
    with pytest.raises(RushlightError, match="are not bred"):
        search_in_space(home, generations=3)
    poor = (
        (home / "rig.toml")
        .read_text()
        .replace("[search]\n", '[search]\nbudget = { amount = 1, currency = "EUR" }\n')
    )
    (home / "rig.toml").write_text(poor)
    with pytest.raises(RushlightError, match="costs more than the budget"):
        search_in_space(home, tried=3, best=1)


def test_the_command_shows_it_and_its_twin(tmp_path, monkeypatch):
    monkeypatch.setattr("rushlight.jobs.search_space.search_space", quick)
    home = rig_of("paper-theatre", tmp_path)
    told = CliRunner(env={"COLUMNS": "120"}).invoke(app, ["search", str(home)])
    assert told.exit_code == 0, told.output
    assert "The rig as it stands covers" in told.output and "position = [" in told.output
    twin = CliRunner().invoke(app, ["search", str(home), "--json"])
    shown = json.loads(twin.stdout)
    assert shown["schema"] == "rushlight/space-search"
    assert math.isfinite(shown["chosen"]["error_rms_m"])


def quick(rig, shelf, seed, tried, name, progress, best):
    from rushlight.plan.space_search import search_space

    return search_space(rig, shelf, seed, 4, name, progress, 1)


def test_lights_that_a_plan_forbids_are_thrown_out_and_heat_is_told(tmp_path):
    def searched(current, emitter):
        home = tmp_path / f"{current.split()[0]}-{emitter}"
        shutil.copytree(SCENARIOS / "paper-theatre", home)
        price = f"\n{emitter} = {{ amount = 0.4, currency = 'EUR', date = '2026-03', "
        text = (
            PLACES["paper-theatre"]
            .replace('["1 mA", "2 mA"]', f'["{current}"]')
            .replace('["ir850-5mm-60"]', f'["{emitter}"]')
        )
        with (home / "rig.toml").open("a", encoding="utf-8") as file:
            file.write(text)
            if emitter != "ir850-5mm-60":
                file.write(price + "basis = 'invented' }\n")
        return search_in_space(home, tried=4, best=1, seed=2)

    with pytest.raises(RushlightError, match="beyond a published limit, as estimated"):
        searched("100 mA", "ir850-5mm-17")
    with pytest.raises(RushlightError, match="than the part bears"):
        searched("100 mA", "ir850-5mm-60")
    warm = searched("30 mA", "ir850-5mm-60")
    assert warm.chosen.warned == ["heat"]
    assert all(each.warned == ["heat"] for each in warm.candidates)
    assert {each.code for each in warm.findings} == {"hot-to-touch"}
    assert warm.findings[0].where.startswith("the one to take")
    assert "warns of heat" in warm.why[-1]


def test_a_cost_that_leaves_parts_out_says_which(tmp_path):
    home = rig_of("paper-theatre", tmp_path)
    lines = (home / "rig.toml").read_text("utf-8").splitlines(keepends=True)
    kept = [line for line in lines if not line.startswith("aaa-alkaline =")]
    (home / "rig.toml").write_text("".join(kept), "utf-8")
    assert len(kept) == len(lines) - 1
    found = search_in_space(home, tried=8, seed=2, best=1)
    for line in found.why[:2]:
        assert "EUR for all but aaa-alkaline, whose price is not known" in line
