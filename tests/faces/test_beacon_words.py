"""Beacons in words: first how they are told, once, and only when there is something to tell."""

from pathlib import Path

from rushlight.cli.beacons import TextShow
from rushlight.jobs.register_telling import Beacon

BARN_WALL = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios/barn-wall"


def test_each_beacon_is_told_once_after_a_line_on_how_they_are_told(capsys):
    show = TextShow(BARN_WALL)
    assert capsys.readouterr().err == ""
    for number in (1, 1, 2):
        show.beacon(Beacon(number, 9, 0.1, 1.4, 80.0, 60.0, 12, "wren"))
    first, one, two = capsys.readouterr().err.splitlines()
    assert first == "beacons are told in words here; rushlight bench shows them on the display"
    assert one.startswith("beacon 1 of 9, upper left: hold the light of wren still 0.100 m from")
    assert two.startswith("beacon 2 of 9")
