"""Delay by stage: what is put in comes out, whenever and from wherever departures come."""

from types import SimpleNamespace

import pytest

from rushlight.records.session import Departure, Event
from rushlight.track.stages import MOST_AWAITED, Stages

MS = 1_000_000
AT = 5_000 * MS


def frame(index, capture_ns, detect_ms, map_ms, lit=True, events=()):
    """What `Stages` reads of a followed frame."""
    moments = {"detect_ns": capture_ns + detect_ms * MS, "map_ns": capture_ns + map_ms * MS}
    return SimpleNamespace(
        frame=SimpleNamespace(index=index, capture_ns=capture_ns),
        fixes=[SimpleNamespace(**moments)] if lit else [],
        events=list(events),
    )


def told(stages, **options):
    return {
        (each.what, each.stage): (each.median_ms, each.p95_ms, each.count)
        for each in stages.delays(**options)
    }


def test_places_count_from_their_own_exposure():
    stages = Stages()
    for n in range(5):
        stages.add(frame(n, AT + n * 10 * MS, 2, 3))
        stages.left([Departure("osc", n, AT + n * 10 * MS + 4 * MS)])
    stages.left([Departure("lines", n, AT + n * 10 * MS + (5 + n) * MS) for n in range(5)])
    assert list(told(stages)) == [
        ("place", "dots"), ("place", "fixes"), ("place", "osc"), ("place", "lines")
    ]  # fmt: skip
    assert told(stages)["place", "fixes"] == pytest.approx((3.0, 3.0, 5))
    assert told(stages)["place", "lines"] == pytest.approx((7.0, 8.8, 5))
    assert told(stages, latest=2)["place", "lines"] == pytest.approx((8.5, 8.95, 2))


def test_presses_and_releases_count_from_the_light_and_are_known_later():
    stages = Stages()
    down = Event(AT, "switch-down", "wren", 1, 0).known(AT + 20 * MS, 2e-3, 3e-3)
    stages.add(frame(2, AT + 20 * MS, 2, 3, events=[down]))
    up = Event(AT, "switch-up", "wren", 1, 2).known(AT + 120 * MS, 2e-3, 3e-3)
    other = Event(AT, "fault").known(AT + 120 * MS, 2e-3, 3e-3)
    stages.add(frame(12, AT + 120 * MS, 2, 3, lit=False, events=[up, other]))
    stages.left([Departure("osc", 2, AT + 24 * MS), Departure("osc", 12, AT + 126 * MS)])
    found = {key: value[0] for key, value in told(stages).items()}
    assert found == pytest.approx(
        {
            ("place", "dots"): 2.0, ("place", "fixes"): 3.0, ("place", "osc"): 4.0,
            ("press", "known"): 20.0, ("press", "dots"): 22.0, ("press", "fixes"): 23.0,
            ("press", "osc"): 24.0,
            ("release", "known"): 120.0, ("release", "dots"): 122.0, ("release", "fixes"): 123.0,
            ("release", "osc"): 126.0,
        }
    )  # fmt: skip
    assert [each.what for each in stages.delays()] == [
        *["place"] * 3, *["press"] * 4, *["release"] * 4
    ]  # fmt: skip


def test_departures_of_what_told_nothing_or_is_long_gone_do_not_count():
    stages = Stages()
    for n in range(MOST_AWAITED + 1):
        stages.add(frame(n, AT + n, 0, 0))
    stages.left([Departure("osc", frame, AT + 9 * MS) for frame in (0, 1, 10_000)])
    assert told(stages)["place", "osc"][2] == 1
    assert Stages().delays() == ()
