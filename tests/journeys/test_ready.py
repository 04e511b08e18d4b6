"""Every morning: go where nothing happened to the rig, no-go with its reason where it changed."""

import dataclasses
import json
from pathlib import Path

import numpy as np
import pytest

from rushlight.errors import RushlightError
from rushlight.jobs.ready import last_registration, ready
from rushlight.jobs.register_live import register_live
from rushlight.jobs.rehearsal import RehearsalSource, rehearsal_world
from rushlight.keep.writer import SessionWriter
from rushlight.physics.geometry.rotation import matrix_from_rotation_vector
from rushlight.records.dots import Frame
from rushlight.records.session import Clock, SessionHeader

BARN_WALL = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios/barn-wall"


@pytest.fixture(scope="module")
def morning(tmp_path_factory):
    """A registered barn wall with a camera of 30 Hz; its folder and its room."""
    home = tmp_path_factory.mktemp("morning")
    text = (BARN_WALL / "rig.toml").read_text()
    (home / "rig.toml").write_text(text.replace('frame_rate = "100 Hz"', 'frame_rate = "30 Hz"'))
    world, _ = rehearsal_world(home, 5)
    register_live(
        home, home / "registration.json", source=RehearsalSource(world, paced=False),
        touched_by=("stylus-wren",), keep=False,
    )  # fmt: skip
    return home, world


@pytest.fixture
def copied(morning, tmp_path):
    """A folder of its own with the rig and its registration."""
    home, world = morning
    for name in ("rig.toml", "registration.json"):
        (tmp_path / name).write_text((home / name).read_text())
    return tmp_path, world


def changed(world, part, **fields):
    """The room with some of its numbers changed."""
    own = getattr(world.rig, part).replace(**fields)
    return dataclasses.replace(world, rig=dataclasses.replace(world.rig, **{part: own}))


def told(home, world, **choices):
    result = ready(home, source=RehearsalSource(world, paced=False), patience_s=5.0, **choices)
    found = result.as_dict()
    assert found["go"] is not any(each["severity"] == "error" for each in found["findings"])
    # One of the two styli touches, and of the other nothing is said to be known.
    other = next(each for each in found["findings"] if each["code"] == "styli-unchecked")
    assert (other["severity"], other["given"]) == ("note", "stylus-ash")
    return found, {each["code"] for each in found["findings"] if each is not other}


def test_go_on_a_rig_that_nothing_happened_to(morning):
    home, world = morning
    chances, alarms = [], 0
    for day in range(6):
        # The same room on another day: other hands, another noise.
        today = dataclasses.replace(world, seed=100 + day)
        found, codes = told(home, today)
        alarms += not found["go"]
        assert codes <= {"moved"}
        chances.append(found["chance"])
        assert 0.5 < found["touch_light_share"] < 2.0
    # At one alarm in a hundred mornings, two in six are seen once in 700 times.
    assert alarms <= 1
    assert np.mean(chances) > 0.1
    assert (found["basis"], found["carried"]) == ("simulated", "stylus-wren")


def test_no_go_when_the_camera_was_turned_by_half_a_degree(morning):
    home, world = morning
    for turn in np.eye(3)[:2] * np.radians(0.5):
        pose = np.array(world.rig.cameras.rig_from_camera)
        pose[0, 0, :3, :3] = pose[0, 0, :3, :3] @ matrix_from_rotation_vector(turn)
        found, codes = told(home, changed(world, "cameras", rig_from_camera=pose))
        assert (found["go"], codes) == (False, {"moved"})
        assert "register anew" in found["reasons"][0]


def test_no_go_when_a_cell_is_nearly_empty(morning):
    home, world = morning
    weak = world.rig.emitters.intensity_w_sr * 0.3
    found, codes = told(home, changed(world, "emitters", intensity_w_sr=weak))
    assert (found["go"], codes) == (False, {"dim"})
    assert found["touch_light_share"] == pytest.approx(0.3, rel=0.35)
    dark = changed(world, "emitters", intensity_w_sr=weak * 0.01)
    found, codes = told(home, dark)
    assert "untouched" in codes


def test_no_go_in_a_bright_room(morning):
    home, world = morning
    bright = changed(world, "surface", ambient_w_m2=world.rig.surface.ambient_w_m2 * 600.0)
    found, codes = told(home, bright)
    assert not found["go"]
    assert "room-bright" in codes
    assert found["room_share"] > 0.5 > found["room_planned_share"]


def test_a_new_laptop_takes_over_where_only_its_pixels_differ(copied):
    home, world = copied
    text = (home / "rig.toml").read_text()
    (home / "rig.toml").write_text(text.replace("[1280, 800]", "[1920, 1200]"))
    shown = []

    class Show:
        def beacon(self, beacon):
            shown.append(beacon)

        def state(self, state):
            pass

        def seen(self, frame, dots):
            pass

    found, codes = told(home, world, show=Show())
    assert (found["go"], codes) == (True, {"taken-over"})
    assert found["taken_over_from_px"] == [1280, 800]
    one = shown[0]
    assert one.x_px == pytest.approx(one.x_m / 2.4 * 1920)
    # More than the pixels: the same metres no longer hold, or nobody knows what else.
    wider = text.replace("[1280, 800]", "[1920, 1200]").replace(
        'width = "2.4 m"', 'width = "2.5 m"'
    )
    (home / "rig.toml").write_text(wider)
    found, codes = told(home, world)
    assert {"surface-size", "more-than-pixels"} <= codes
    assert not found["go"]
    assert found["touches"] == []


def test_another_change_of_the_rig_is_told_and_the_touches_judge(copied):
    home, world = copied
    text = (home / "rig.toml").read_text()
    (home / "rig.toml").write_text(text.replace('title = "Planting', 'title = "Our planting'))
    found, codes = told(home, world)
    assert (found["go"], codes) == (True, {"rig-changed"})


def test_hours_of_kept_sessions_are_held_against_the_cells(copied):
    home, world = copied
    hours = 600.0

    def keep(name, basis, role="session"):
        header = SessionHeader(
            role=role, cameras=["beam"], carried=["stylus-wren"],
            clocks=[Clock(id="host", kind="host-monotonic")],
        )  # fmt: skip
        with SessionWriter(home / name, header, basis) as session:
            for index, second in enumerate((0.0, hours * 3600.0)):
                session.put_frame(Frame("beam", index, round(second * 1e9), 0.0, None))

    found, _ = told(home, world)
    assert (found["sessions"], found["cells"][0]["used_h"]) == (0, 0.0)
    keep("measured.sqlite", "measured")  # a rehearsal does not count what was measured
    keep("truth.sqlite", "simulated", "truth")
    assert told(home, world)[0]["sessions"] == 0
    keep("run.sqlite", "simulated")
    found, codes = told(home, world)
    assert found["cells"][0]["used_h"] == hours > found["cells"][0]["runtime_h"]
    assert (found["go"], codes) == (False, {"cells-used"})
    found, codes = told(home, world, cells_since="2999-01-01")
    assert (found["go"], found["sessions"]) == (True, 0)
    with pytest.raises(RushlightError, match="is no day"):
        told(home, world, cells_since="yesterday")


def test_the_last_registration_is_taken_and_none_is_said(copied, tmp_path_factory):
    home, _ = copied
    older = json.loads((home / "registration.json").read_text())
    older["header"]["made_at"] = "2001-01-01T00:00:00+00:00"
    (home / "before.json").write_text(json.dumps(older))
    (home / "other.json").write_text("[]")
    assert last_registration(home) == home / "registration.json"
    with pytest.raises(RushlightError, match="holds no registration; register first"):
        last_registration(tmp_path_factory.mktemp("nothing"))
