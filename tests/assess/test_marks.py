"""Marks by hand: only their order is known, and the presses tell the rest."""

from pathlib import Path

import pytest

from rushlight.assess.marks import touched_in_order
from rushlight.assess.recording import read_recordings
from rushlight.errors import RushlightError
from rushlight.records.document import read_document
from rushlight.records.marks import MarkList
from rushlight.records.session import Event

HOLD_NS, DARK_NS = 400_000_000, 200_000_000
PLACES = [(x, y) for y in (0.3, 0.7, 1.2) for x in (0.31, 1.02, 1.57, 2.13)]


@pytest.fixture
def pressed(build, tmp_path):
    """Makes a session of holds at places, one press each; a brief press after some of them."""

    def make(places, brief_after=(), **changes):
        fixes, events, start, trail = [], [], 0, 0
        for number, place in enumerate(places):
            trail += 1
            until = start + HOLD_NS
            events.append(Event(start, "switch-down", "stylus-wren", trail))
            events.append(Event(until, "switch-up", "stylus-wren", trail))
            fixes += [
                build.fix(at, at // build.period_ns, "stylus-wren", place, trail=trail)
                for at in range(start, until, build.period_ns)
            ]
            start = until + DARK_NS
            if number in brief_after:
                trail += 1
                end = start + 5 * build.period_ns
                events.append(Event(start, "switch-down", "stylus-wren", trail))
                events.append(Event(end, "switch-up", "stylus-wren", trail))
                start += DARK_NS
        head = build.header(**({"script": None, "goals": []} | changes))
        frames = range(0, start, build.period_ns)
        path = build.write(tmp_path / "s.sqlite", head, frames, fixes, events, "measured")
        return read_recordings([path], [])[0]

    return make


def listed(places, **more):
    marks = [{"place": [f"{x:g} m", f"{y:g} m"], **more} for x, y in places]
    return MarkList.model_validate({"schema": "rushlight/marks", "version": 1, "marks": marks})


def test_presses_are_given_to_the_marks_in_order(pressed):
    recording = touched_in_order(pressed(PLACES, brief_after=(2, 7)), listed(PLACES), "marks.toml")
    assert [one.place_m for one in recording.goals] == [tuple(place) for place in PLACES]
    assert [one.until_ns - one.from_ns for one in recording.goals] == [HOLD_NS] * len(PLACES)
    assert recording.kind == "grid"


def test_another_number_of_presses_is_refused_with_their_times(pressed):
    recording = pressed(PLACES[:3])
    with pytest.raises(RushlightError, match=r"4 marks does not match the 3 presses.*0\.0, 0\.6,"):
        touched_in_order(recording, listed(PLACES[:4]), "marks.toml")


def test_a_list_is_refused_where_the_session_tells_its_marks(build, pressed):
    recording = pressed(PLACES[:1], goals=[build.goal(PLACES[0], 0, HOLD_NS)])
    with pytest.raises(RushlightError, match="is not needed"):
        touched_in_order(recording, listed(PLACES[:1]), "marks.toml")


def test_unknown_styli_are_refused(pressed):
    recording = pressed(PLACES[:1])
    with pytest.raises(RushlightError, match=r'marks\[0\]\.carried = "nobody" is not carried'):
        touched_in_order(recording, listed(PLACES[:1], carried="nobody"), "marks.toml")


def test_the_example_reads():
    marks = read_document(MarkList, Path(__file__).parents[2] / "examples" / "marks.toml")
    assert len(marks.marks) == 15
    assert marks.marks[-1].place[0].value == pytest.approx(2.1)
