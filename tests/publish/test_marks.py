"""Marks that a kit asks for: within reach and view, apart from beacons and from one another."""

from pathlib import Path

import numpy as np
import pytest

from rushlight.jobs.plan import planned_rig
from rushlight.publish.marks import FROM_BEACON_M, MARKS, marks_of, marks_text
from rushlight.records.document import read_document
from rushlight.records.marks import MarkList

BARN_WALL = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios/barn-wall"


@pytest.fixture(scope="module")
def plan():
    return planned_rig(BARN_WALL, (9, 6)).plan


def places(marks):
    return np.array([[step.value for step in mark.place] for mark in marks.marks])


def test_marks_are_spread_and_away_from_beacons(plan):
    found = places(marks_of(plan))
    assert len(found) == MARKS
    assert np.all((found > 0) & (found < [2.4, 1.5]))
    apart = np.linalg.norm(found[:, None] - found, axis=-1)
    assert apart[~np.eye(MARKS, dtype=bool)].min() > 0.3
    beacons = np.linalg.norm(found[:, None] - np.array(plan.beacons), axis=-1)
    assert beacons.min() >= FROM_BEACON_M


def test_marks_out_of_reach_are_not_asked_for(plan):
    who = plan.registering[0]
    mine = next(each for each in plan.maps if each.carried == who)
    low = np.zeros((len(mine.y_m), len(mine.x_m)))
    low[:2] = 1.0  # only the two lowest rows are within reach
    values = list(mine.values)
    values[mine.names.index("reached")] = low.tolist()
    short = plan.model_copy(update={"maps": [mine.model_copy(update={"values": values})]})
    assert places(marks_of(short))[:, 1].max() < mine.y_m[2] - 0.1
    values[mine.names.index("reached")] = (0 * low).tolist()
    none = plan.model_copy(update={"maps": [mine.model_copy(update={"values": values})]})
    assert marks_of(none) is None


def test_the_list_reads_as_it_was_meant(plan, tmp_path):
    marks = marks_of(plan)
    (tmp_path / "marks.toml").write_text(marks_text(marks))
    assert read_document(MarkList, tmp_path / "marks.toml").marks == marks.marks
