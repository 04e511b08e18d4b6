"""Cameras in space registered by the live process: a rehearsed head or hand takes each step.

The room is simulated. What is told on the way is held to the plan's steps and to the room's truth.
"""

import queue
import shutil
import threading
import time

import numpy as np
import pytest

from rushlight.bench.live.hub import Hub
from rushlight.bench.live.pages import Listener
from rushlight.bench.live.work import Order, Teller, register
from rushlight.jobs.load import load_rig
from rushlight.jobs.register_space_telling import steps_ahead
from rushlight.jobs.register_telling import DASHES
from rushlight.jobs.rehearsal import space_world
from rushlight.jobs.simulate_space import with_exposures
from rushlight.physics.geometry.rotation import pose_difference
from rushlight.plan.space_design import design_of
from rushlight.records.document import read_document
from rushlight.records.space_registration import SpaceRegistration
from rushlight.shelf.resolve_space import resolve_space
from rushlight.simulate.space_footage import write_space_footage
from rushlight.simulate.space_scripts import register_by_swing
from rushlight.simulate.space_world import draw_space

SEED = 7
ARRIVES_S = 3.0
"""From a step's words until the rehearsed head is there and at rest, on a busy computer too."""
LONG_S = 300.0


class Desk:
    """Hears what leaves, and answers each step once who takes it has come to rest."""

    def __init__(self):
        self.said, self.states, self.marks = [], [], []
        self.news = queue.SimpleQueue()

    def say(self, body):
        self.said.append(body)

    def newest(self, slot, body, more=b""):
        if slot == "state":
            self.states.append(body["register"])
            self.news.put(body["register"])
        elif slot == "mark":
            self.marks.append(body["mark"])

    def follow(self, teller, job):
        """Let somebody do this meanwhile; if it fails the act is ended, which waits for words."""

        def follows():
            try:
                job()
            except BaseException:
                teller.hear({"stop": True})
                raise

        threading.Thread(target=follows, daemon=True).start()

    def answer(self, teller, words):
        """Say a word at each step, by its number; a step that did not count is begun again."""
        for number, word in words:
            while True:
                told = self.news.get(timeout=LONG_S)
                if told["stage"] == "told" and told["step"]["number"] == number:
                    break
                if told["stage"] == "told" and (told["last"] or {}).get("came") == "refused":
                    self.begin(teller)
            if word == "begin":
                self.begin(teller)
            else:
                teller.say({"word": word})

    def begin(self, teller):
        time.sleep(ARRIVES_S)
        teller.say({"word": "none of them"})
        teller.say({"word": "begin"})


@pytest.fixture(params=["paper-theatre", "ferry-model"])
def rig(request, tmp_path, serving):
    """A rig whose camera films slowly enough for any computer."""
    home = tmp_path / request.param
    shutil.copytree(serving.scenarios / request.param, home)
    slow(home, "20 Hz")
    return home


def slow(home, rate):
    text = (home / "rig.toml").read_text("utf-8")
    given = next(line for line in text.splitlines() if line.startswith("frame_rate"))
    (home / "rig.toml").write_text(text.replace(given, f'frame_rate = "{rate}"'), "utf-8")


def marks_of(home):
    rig, shelf = load_rig(home)
    space = resolve_space(rig, shelf)
    return design_of(space).marks, space.screens[0]


STEPS = 6


def test_rehearsed_steps_register_the_room(rig, monkeypatch):
    monkeypatch.chdir(rig)
    marks, screen = marks_of(rig)
    desk = Desk()
    teller = Teller(desk)
    words = [(1, "begin"), (2, "skip"), (3, "back"), *((n, "begin") for n in range(2, STEPS + 1))]
    words.append((STEPS + 1, "finish"))
    desk.follow(teller, lambda: desk.answer(teller, words))
    result = register(Order("register", rig, f"rehearsal:{SEED}"), teller)
    teller.view.close()
    assert {"is": "display", "display_px": (1920, 1080), "surface_m": screen_size(screen)} in (
        desk.said
    )
    found = read_document(SpaceRegistration, rig / "registration.json")
    assert found == result.registration and len(found.rows) == STEPS
    assert found.method == steps_ahead(rig)["method"] == desk.states[0]["method"]
    assert len(marks) == steps_ahead(rig)["steps"] == desk.states[0]["step"]["of"]
    # As true as it says of itself.
    apart = pose_difference(space_world(rig, SEED)[0].rig_from_camera, found.rig_from_camera)[0]
    std = np.sqrt(np.diag(found.cov_array))[:6]
    assert np.all(np.abs(apart) < 4.0 * std), (apart, std)
    last = desk.states[-1]
    assert last["stage"] == "finding" and last["step"] is None and desk.marks[-1] is None
    assert [each["number"] for each in last["steps"]] == [*range(1, STEPS + 1)]
    assert {each["came"] for each in last["steps"]} == {"counts"}
    passed = [each["came"] for state in desk.states for each in state["steps"]]
    assert "passed" in passed
    # Each mark stands where its place of the plan is on the display, and its dashes go out.
    shown = {mark["number"]: mark for mark in desk.marks if mark}
    corner, right, up = screen.corners_m
    for number, planned in enumerate(marks[:STEPS], 1):
        told = shown[number]
        share = told["x_px"] / 1920, 1.0 - told["y_px"] / 1080
        place = corner + share[0] * (right - corner) + share[1] * (up - corner)
        assert place == pytest.approx(planned.to_m or planned.from_m, abs=1e-4)
        assert (told["bead_px"] is None) == (planned.to_m is None)
        if planned.to_m is not None:
            assert told["bead_mm"] == pytest.approx(1e3 * planned.from_m[2])
            assert told["bead_px"] == pytest.approx(
                (planned.from_m[0] / 0.6 * 1920, (1 - planned.from_m[1] / 0.34) * 1080)
            )
    gone = [mark["dashes_left"] for mark in desk.marks if mark and mark["number"] == 1]
    assert gone[0] == DASHES and gone[-1] == 0 and sorted(gone, reverse=True) == gone


def screen_size(screen):
    corner, right, up = screen.corners_m
    return float(np.linalg.norm(right - corner)), float(np.linalg.norm(up - corner))


def test_a_bar_is_swung_before_two_cameras_and_seconds_are_counted(tmp_path, monkeypatch, serving):
    shutil.copytree(serving.scenarios / "choir-baton", tmp_path, dirs_exist_ok=True)
    slow(tmp_path, "30 Hz")
    rig, shelf = load_rig(tmp_path)
    world = draw_space(with_exposures(resolve_space(rig, shelf)), SEED)
    script = register_by_swing(world, 4.0)
    write_space_footage(world, script, tmp_path / "film", rig_hash=rig.content_hash())
    monkeypatch.chdir(tmp_path)
    desk = Desk()
    teller = Teller(desk)

    def swing():
        assert desk.news.get(timeout=LONG_S)["stage"] == "told"
        desk.begin(teller)
        while (desk.news.get(timeout=LONG_S)["left_s"] or 99) > 12:
            pass
        teller.say({"word": "finish"})

    desk.follow(teller, swing)
    # The film begins again and again, so that nobody has to be quicker than it.
    order = Order("register", tmp_path, "simulated:film", options={"loop": True})
    found = register(order, teller).registration
    teller.view.close()
    told = [state["left_s"] for state in desk.states if state["left_s"]]
    assert told[:3] == [20, 19, 18] and told[-1] == 12
    assert not any(desk.marks) and not any(body["is"] == "display" for body in desk.said)
    assert found.method == "swing" and found.verdict.vouched, found.verdict.reasons
    clock, std = found.cameras[1].clock_offset_ns, found.cameras[1].clock_std_ns
    assert abs(clock - world.clock_offset_ns[1]) < 4.0 * std


def test_a_page_that_comes_late_hears_of_the_mark_that_stands():
    hub = Hub()
    page, late = Listener(), Listener()
    hub.pages.add(page)
    hub._take('{"is": "mark", "mark": {"number": 3}}', b"")
    hub.greet(late)
    for one in (page, late):
        assert '{"mark":{"number":3}}' in one.take()
