"""The morning's answer as the page tells it, from what the job keeps: words, shape and reason."""

import shutil
from pathlib import Path

import numpy as np
import pytest
from tests.served_bench import barriers

from rushlight.errors import Finding
from rushlight.jobs.ready_cells import CellsUsed
from rushlight.jobs.ready_light import LightTold
from rushlight.jobs.ready_telling import ReadyResult
from rushlight.jobs.told import keep_told
from rushlight.register.checking import Checked

MOVED = Finding(
    "error",
    "moved",
    "the check touches",
    "41 mm and 38 mm",
    "miss their beacons where 3 mm and 3 mm are expected",
    "touch once more; if it stays so, register anew",
)
WARM = Finding(
    "warning", "cells-nearly", "stylus-wren", "37 h", "has used most of 40 h", "charge it"
)


def result(findings=(), taken_over=None):
    """An invented morning, as the job tells one."""
    return ReadyResult(
        simulated=True,
        registration_path=Path("registration.json"),
        carried="stylus-wren",
        goals_m=((0.6, 0.4), (1.8, 1.1)),
        checked=Checked(
            np.array([[0.041, 0.0], [0.0, 0.038]]), np.array([0.003, 0.003]), 90.0, 4, 1e-6
        ),
        turn_rad=0.005,
        light=LightTold(0.12, 0.1, 0, 0.9, 44.0),
        cells=(CellsUsed("stylus-wren", 3.0, 40.0),),
        sessions=2,
        taken_over=taken_over,
        findings=tuple(findings),
    )


@pytest.fixture
def told(page, bench, tmp_path):
    """The page Ready of a rig whose morning was kept; its panel with what was told."""

    def show(kept):
        rig = bench.folder / tmp_path.name
        shutil.copytree(bench.folder / "barn-wall", rig)
        keep_told("ready", rig / "ready", kept)
        page.goto(f"{bench.url}/rig/{rig.name}/ready")
        page.locator(".verdict").wait_for(timeout=60_000)
        return page.locator("section.panel", has=page.locator(".verdict"))

    return show


def border(panel):
    return panel.locator(".verdict").evaluate("each => getComputedStyle(each).borderTopStyle")


def plain(words):
    """Without what keeps a number and its unit on one line."""
    return words.replace("\u00a0", " ")


def reasons(panel):
    return [*map(plain, panel.locator("ul.findings").first.locator("li.error").all_inner_texts())]


def test_no_go_is_told_by_words_and_shape_with_its_reason(told, page):
    panel = told(result([MOVED, WARM]))
    assert panel.locator(".verdict").inner_text() == "✕ No-go"
    assert border(panel) == "dashed"
    assert reasons(panel) == [str(MOVED)]
    # What is no reason stands apart from the reasons, under its own name.
    rest = plain(panel.locator("li.warning").inner_text())
    assert rest.startswith("Warning:") and "has used most of 40 h" in rest
    assert panel.get_by_text("taken over").count() == 0
    assert barriers(page) == []


def test_go_has_another_shape_and_no_reason(told):
    panel = told(result([WARM]))
    assert panel.locator(".verdict").inner_text() == "✓ Go"
    assert border(panel) == "solid"
    assert panel.locator("li.error").count() == 0


@pytest.mark.parametrize(("findings", "verdict"), [((), "✓ Go"), ((MOVED,), "✕ No-go")])
def test_a_registration_that_was_taken_over_is_told_with_the_pixels_it_had(told, findings, verdict):
    panel = told(result(findings, taken_over=(1280, 800)))
    assert panel.locator(".verdict").inner_text() == verdict
    words = plain(panel.get_by_text("The registration is taken over:").inner_text())
    assert "the display had 1280×800 px when it was made" in words
