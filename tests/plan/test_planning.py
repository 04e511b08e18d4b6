"""The whole plan of one rig: the document, the findings, the advice, the pictures."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest

from rushlight.errors import RushlightError
from rushlight.jobs.load import load_rig
from rushlight.jobs.plan import grid_of, plan, planned_rig
from rushlight.plan import planning
from rushlight.plan.evaluate import evaluate
from rushlight.plan.findings import evaluation_findings
from rushlight.plan.planning import cautions_of, plan_rig
from rushlight.records.document import read_document
from rushlight.records.figure import ERROR_CAUSES, find_figure
from rushlight.records.plan import Plan
from rushlight.records.rig import Rig
from rushlight.shelf.resolve import resolve


@pytest.fixture(scope="module")
def planned(examples):
    return planned_rig(examples / "barn-wall", (4, 3))


@pytest.fixture(scope="module")
def written(examples, tmp_path_factory):
    folder = tmp_path_factory.mktemp("plan")
    return plan(examples / "barn-wall", folder, (4, 3)), folder


def test_every_cause_has_its_line_and_interval(planned) -> None:
    figures = planned.plan.figures
    squares = 0.0
    for cause in ERROR_CAUSES:
        figure = find_figure(figures, "error", cause, "rms")
        assert figure is not None
        assert figure.low <= figure.value * 1.01
        assert figure.high >= figure.value * 0.99
        assert figure.basis == "predicted"
        squares += figure.value**2
    whole = find_figure(figures, "error", "all", "rms")
    assert whole.value == pytest.approx(np.sqrt(squares))


def test_keys_are_unique(planned) -> None:
    keys = [figure.key for figure in planned.plan.figures]
    assert len(keys) == len(set(keys))


def test_figures_stand_for_the_maps(planned) -> None:
    """The number that is stated is the one that the map holds."""
    document = planned.plan
    squares = [
        value**2 for one in document.maps for row in one.of("error") for value in row if value
    ]
    whole = find_figure(document.figures, "error", "all", "rms")
    assert whole.value == pytest.approx(np.sqrt(np.mean(squares)))
    covered = np.mean([one.of("covered") for one in document.maps])
    assert find_figure(document.figures, "coverage").value == pytest.approx(100 * covered)


def test_targets_advice_and_cautions(planned) -> None:
    document = planned.plan
    assert {one.what for one in document.targets} >= {"coverage", "mean delay", "runtime"}
    assert all(one.met is not None for one in document.targets)
    assert document.dominant in ERROR_CAUSES
    assert document.advice[0].helps
    helps = [one.helps for one in document.advice]
    assert helps == sorted(helps, reverse=True)
    assert {"eye", "cell", "height"} <= set(document.cautions)
    assert len(document.beacons) == 9
    assert set(document.exposures_s) == {"beam"}
    assert document.exposures_s["beam"] > 0


def test_each_caution_stands_where_the_rig_calls_for_it(examples) -> None:
    rig, shelf = load_rig(examples / "barn-wall")
    every = {
        "eye", "heat", "motion", "mains", "picture", "cables", "cell", "filter_glass", "beam",
        "height",
    }  # fmt: skip
    assert set(cautions_of(rig, shelf)) == every
    data = rig.model_dump(mode="json", by_alias=True, exclude_none=True)
    del data["cameras"][0]["filter"], data["surfaces"][0]["display"]
    data["cameras"][0]["position"][1] = "0.2 m"
    for carried in data["carried"]:
        del carried["cell"], carried["cells"]
    # A projector that hangs high calls for the ladder's caution by itself.
    hung = cautions_of(Rig.model_validate(data), shelf)
    assert every - set(hung) == {"cell", "filter_glass", "beam"}
    del data["surfaces"][0]["projector"]
    assert set(hung) - set(cautions_of(Rig.model_validate(data), shelf)) == {"height"}


def test_advice_is_truly_evaluated(examples) -> None:
    """Planning the changed rig itself gives what the advice said of it."""
    rig, shelf = load_rig(examples / "barn-wall")
    before = plan_rig(rig, shelf, 6, 4).plan
    advice = next(one for one in before.advice if one.change.startswith("set the light at half"))

    def shortened(carried):
        emitter = carried.emitters[0]
        half = emitter.distance_from_tip.model_copy(
            update={"value": emitter.distance_from_tip.value / 2, "text": "6 mm"}
        )
        light = emitter.model_copy(update={"distance_from_tip": half})
        return carried.model_copy(update={"emitters": [light]})

    changed = rig.model_copy(update={"carried": [shortened(one) for one in rig.carried]})
    after = find_figure(plan_rig(changed, shelf, 6, 4).plan.figures, "error", "all", "rms")
    assert after.value == pytest.approx(advice.error_after_mm, rel=0.05)


def test_cost_says_what_is_not_known(examples) -> None:
    rig, shelf = load_rig(examples / "barn-wall")
    document = plan_rig(rig.model_copy(update={"prices": {}}), shelf, 2, 2).plan
    assert any(line.amount is None for line in document.costs)
    assert find_figure(document.figures, "cost").value is None
    assert find_figure(document.figures, "relative-cost") is None


def test_warnings_read_as_sentences(planned) -> None:
    bright = planned.resolved.with_exposure(np.array([[5e-3]]))
    ev = evaluate(bright, 3, 2, standing=planned.standing, tilts=1, leans=1)
    findings = evaluation_findings(ev, bright, planned.names, True, "rig.toml")
    saturated = next(finding for finding in findings if finding.code == "saturated")
    assert str(saturated).startswith("rig.toml: cameras (beam) exposure = 5 ms lets the brightest")
    assert 'set exposure = "auto"' in str(saturated)


@pytest.mark.parametrize("intensity_w_sr", [0.0, 1e-8])
def test_a_dark_light_is_said_not_to_be_seen(examples, monkeypatch, intensity_w_sr) -> None:
    """The plan goes on by the other light, and names the dark one, field and remedy."""
    rig, shelf = load_rig(examples / "barn-wall")

    def darkened(*told):
        rows = resolve(*told)
        dark = rows.emitters.intensity_w_sr.copy()
        dark[:, 0] = intensity_w_sr
        return replace(rows, emitters=rows.emitters.replace(intensity_w_sr=dark))

    monkeypatch.setattr(planning, "resolve", darkened)
    document = plan_rig(rig, shelf, 3, 2).plan
    codes = {finding.code: finding for finding in document.findings}
    assert codes["light-unseen"].severity == "error"
    assert codes["light-unseen"].where == "rig.toml: stylus-wren"
    assert "raise the current" in codes["light-unseen"].remedy
    assert sum(finding.code == "light-unseen" for finding in document.findings) == 1
    assert "registration-impossible" not in codes
    assert find_figure(document.figures, "coverage").value <= 50.0
    document.model_dump_json()


def test_a_rig_without_any_light_cannot_be_registered(wall) -> None:
    dark = np.zeros_like(wall.emitters.intensity_w_sr)
    found = evaluate(replace(wall, emitters=wall.emitters.replace(intensity_w_sr=dark)), 3, 2)
    assert not found.registerable.any()
    assert not found.covered.any()
    assert found.weak[found.in_view].all()


def test_document_round_trips_with_its_pictures(written) -> None:
    document, folder = written
    again = read_document(Plan, folder / "plan.json")
    assert again == document
    assert again.header.content_hash == again.content_hash()
    assert again.header.basis == "predicted"
    for name in again.pictures:
        tree = ET.fromstring((folder / name).read_text(encoding="utf-8"))
        text = " ".join(node.text or "" for node in tree.iter() if node.tag.endswith("text"))
        assert "predicted" in text


def test_pictures_are_the_same_every_time(written, examples, tmp_path) -> None:
    _, folder = written
    document = plan(examples / "barn-wall", tmp_path, (4, 3))
    for name in document.pictures:
        assert (tmp_path / name).read_bytes() == (folder / name).read_bytes()


@pytest.mark.parametrize("text", ["9", "9x", "x6", "9x6x2", "nine by six", "-3x4"])
def test_wrong_grids_are_refused(text) -> None:
    with pytest.raises(RushlightError, match='write it as "9x6"'):
        grid_of(text)


def test_grid_bounds(examples) -> None:
    assert grid_of("9×6") == (9, 6)
    with pytest.raises(RushlightError, match="outside 2 to 60"):
        planned_rig(examples / "barn-wall", (1, 6))


def test_light_beyond_a_limit_for_the_eye_is_warned_of(planned, examples, tmp_path) -> None:
    text = (examples / "barn-wall" / "rig.toml").read_text()
    (tmp_path / "rig.toml").write_text(text.replace('current = "20 mA"', 'current = "100 mA"'))
    codes = [each.code for each in planned_rig(tmp_path / "rig.toml", (4, 3)).plan.findings]
    assert codes.count("eye-limit-passed") == 2
    assert "eye-limit-passed" not in [each.code for each in planned.plan.findings]


def test_no_error_is_promised_where_dots_are_clipped(examples, tmp_path) -> None:
    text = (examples / "barn-wall" / "rig.toml").read_text()
    assert 'exposure = "auto"' in text
    (tmp_path / "rig.toml").write_text(text.replace('exposure = "auto"', 'exposure = "6 ms"'))
    coverage, error, _ = planned_rig(tmp_path / "rig.toml", (4, 3)).plan.targets[:3]
    assert coverage.met is False and coverage.predicted < 50.0
    assert error.predicted < error.wanted and error.met is None
