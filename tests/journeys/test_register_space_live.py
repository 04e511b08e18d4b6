"""Cameras in space registered live, step by step: as footage of the same steps registers them.

The films are replayed over and over at their own pace or faster, and a made user gives the word
when the film comes to the step that is told: how fast the machine is does not matter.
"""

import shutil
from pathlib import Path
from queue import SimpleQueue

import numpy as np
import pytest
from typer.testing import CliRunner

import rushlight.jobs as jobs
from rushlight.capture.open import open_footage
from rushlight.capture.replay import Pace, replay
from rushlight.capture.space import film_path
from rushlight.capture.together import LiveTogether
from rushlight.cli import app
from rushlight.errors import RushlightError
from rushlight.jobs.load import load_rig
from rushlight.jobs.register import register
from rushlight.jobs.register_space_live import register_space_live
from rushlight.jobs.simulate_space import with_exposures
from rushlight.keep.session import SessionReader
from rushlight.physics.geometry.rotation import pose_difference
from rushlight.plan.space_design import design_of
from rushlight.shelf.resolve_space import resolve_space
from rushlight.simulate import space_scripts as scripts
from rushlight.simulate.space_footage import write_space_footage
from rushlight.simulate.space_world import draw_space

SCENARIOS = Path(jobs.__file__).parent / "scenarios"
RATE_HZ, HOLD_S, SPEED, SWING_S = 30, 0.9, 2.0, 4.0


def home_of(name, home):
    """The invented rig with slower cameras."""
    shutil.copytree(SCENARIOS / name, home, dirs_exist_ok=True)
    lines = [
        f'frame_rate = "{RATE_HZ} Hz"' if line.startswith("frame_rate") else line
        for line in (home / "rig.toml").read_text("utf-8").splitlines()
    ]
    (home / "rig.toml").write_text("\n".join(lines) + "\n", "utf-8")
    rig, shelf = load_rig(home)
    return rig, with_exposures(resolve_space(rig, shelf))


class User:
    """Gives the word when the film comes to the step; at the second step `early` frames before it,
    amid a movement, until that was refused."""

    def __init__(self, begins, frames, early=0):
        self.asks, self.begins, self.frames = SimpleQueue(), begins, frames
        self.early, self.now, self.going = early, None, False
        self.told, self.refused = [], []

    def step(self, step):
        self.now, self.going = step.number - 1, False
        self.told.append(step)

    def began(self, step):
        assert step.number - 1 == self.now

    def held(self, share):
        pass

    def left(self, step, back):
        pass

    def over(self):
        pass

    def ended(self, step, dots, why_not):
        if why_not:
            self.refused.append((step.number, why_not))

    def seen(self, camera, frame, dots):
        if camera == 0 and not self.going:
            early = self.early if self.now == 1 and 2 not in dict(self.refused) else 0
            late = (frame.index - self.begins[self.now] + early) % self.frames
            if late < 3:
                self.going = True
                self.asks.put("begin")


def opened(folder, camera_ids, speed, loop):
    films = [open_footage(film_path(folder, name), None, name) for name in camera_ids]
    first = min(next(iter(film)).capture_ns for film in films)
    pace = Pace(first) if len(films) > 1 else None
    return LiveTogether([replay(film, speed, loop, pace) for film in films]), films[0], first


@pytest.mark.parametrize("name", ["paper-theatre", "ferry-model"])
def test_looks_and_placings_as_from_their_film(name, tmp_path):
    rig, space = home_of(name, tmp_path)
    marks = design_of(space).marks
    world = draw_space(space, 5)
    script = scripts.register_by_marks(world, marks, HOLD_S)
    film = tmp_path / "film"
    header = write_space_footage(world, script, film, rig_hash=rig.content_hash())
    recorded = register(film, tmp_path, tmp_path / "recorded.json")
    source, footage, first = opened(film, space.camera_ids, SPEED, True)
    begins = [round((mark.from_ns - first) * 1e-9 * RATE_HZ) for mark in header.marks]
    # Amid the movement from the first to the second, as far before its middle as a hold lasts half.
    amid_s = (header.marks[1].from_ns - header.marks[0].until_ns) * 0.5e-9 + 0.3 * HOLD_S
    user = User(begins, footage.frames, early=round(amid_s * RATE_HZ))
    with source:
        live = register_space_live(
            tmp_path, tmp_path / "live.json", user, user.asks, source,
            lead_s=0.02, held_s=0.6 * HOLD_S / SPEED,
        )  # fmt: skip
    refused = dict(user.refused)
    assert 2 in refused, "a step begun too early counted"
    assert refused[2] in ("it was not held still", "fewer than 2 lights were seen at rest")
    one, other = recorded.registration, live.registration
    assert other.method == one.method and len(other.rows) == len(one.rows) == len(marks)
    assert live.basis == "simulated" and other.verdict.vouched == one.verdict.vouched
    apart = pose_difference(one.rig_from_camera, other.rig_from_camera)[0]
    std = np.sqrt(np.diag(one.cov_array))[:6]
    assert np.all(np.abs(apart) < 0.5 * std), (apart, std)
    with SessionReader(tmp_path / "live-steps.sqlite") as session:
        assert session.closed and session.basis == "simulated"
        assert session.header.script == "registration"


def test_a_swing_before_two_cameras_finds_their_clocks(tmp_path):
    rig, space = home_of("choir-baton", tmp_path)
    world = draw_space(space, 5)
    script = scripts.register_by_swing(world, SWING_S)
    film = tmp_path / "film"
    write_space_footage(world, script, film, rig_hash=rig.content_hash())
    recorded = register(film, tmp_path, tmp_path / "recorded.json")
    source, footage, _ = opened(film, space.camera_ids, 1.0, False)
    user = User([0], footage.frames)
    with source:
        live = register_space_live(
            tmp_path, tmp_path / "live.json", user, user.asks, source, lead_s=0.0, swing_s=60.0
        )
    # The film ends before the swing would: what was seen counts.
    one, other = recorded.registration.cameras[1], live.registration.cameras[1]
    assert live.registration.method == "swing"
    assert abs(one.clock_offset_ns - other.clock_offset_ns) < 4.0 * (
        one.clock_std_ns + other.clock_std_ns
    )
    std = np.sqrt(np.diag(live.registration.cov_array))[15:21]
    apart = pose_difference(
        recorded.registration.rig_from_camera, live.registration.rig_from_camera
    )
    assert np.all(np.abs(apart[1]) < 4.0 * std)


def test_words_of_the_user(tmp_path):
    """Steps are passed over and made again by words, and without any nothing is registered."""
    rig, space = home_of("ferry-model", tmp_path)
    marks = design_of(space).marks
    world = draw_space(space, 5)
    script = scripts.register_by_marks(world, marks[:2], 0.3)
    film = tmp_path / "film"
    write_space_footage(world, script, film, rig_hash=rig.content_hash())
    source, footage, _ = opened(film, space.camera_ids, 4.0, True)
    user = User([-1], footage.frames)
    user.going = True
    words = iter(["skip", "skip", "back", "finish"])

    def seen(camera, frame, dots):
        user.asks.put(next(words))

    user.seen = seen
    with source, pytest.raises(RushlightError, match="0 steps were made"):
        register_space_live(tmp_path, tmp_path / "live.json", user, user.asks, source)
    assert [step.number for step in user.told] == [1, 2, 3, 2]
    assert not (tmp_path / "live.json").exists()


def test_a_mark_that_was_taken_back_leaves_nothing_to_register_by(tmp_path):
    rig, space = home_of("paper-theatre", tmp_path)
    world = draw_space(space, 5)
    script = scripts.register_by_marks(world, design_of(space).marks[:1], HOLD_S)
    film = tmp_path / "film"
    header = write_space_footage(world, script, film, rig_hash=rig.content_hash())
    source, footage, first = opened(film, space.camera_ids, SPEED, True)
    user = User([round((header.marks[0].from_ns - first) * 1e-9 * RATE_HZ)], footage.frames)
    counted = []

    def ended(step, dots, why_not):
        counted.append(why_not)
        user.going = not why_not
        if not why_not:
            user.asks.put("back")
            user.asks.put("finish")

    def step(told):
        user.told.append(told)
        user.now, user.going = 0, "" in counted

    user.ended, user.step = ended, step
    with source, pytest.raises(RushlightError, match="0 steps were made"):
        register_space_live(
            tmp_path, tmp_path / "live.json", user, user.asks, source,
            lead_s=0.02, held_s=0.6 * HOLD_S / SPEED,
        )  # fmt: skip
    assert counted[-1] == "" and [each.number for each in user.told][-3:] == [1, 2, 1]
    assert not (tmp_path / "live.json").exists()


class Late(LiveTogether):
    """Its first frame lets the user wait."""

    def __iter__(self):
        self.on_silence()
        yield from super().__iter__()


@pytest.mark.parametrize(
    ("words", "started"),
    [(["begin"], [1]), (["begin", "skip"], []), (["begin", "back"], []), (["finish"], None)],
)
def test_words_are_heard_before_frames_come(words, started, tmp_path):
    """A step begins with the first frame, unless it was passed over since; an end comes at once."""
    rig, space = home_of("ferry-model", tmp_path)
    world = draw_space(space, 5)
    script = scripts.register_by_marks(world, design_of(space).marks[:1], 0.3)
    film = tmp_path / "film"
    write_space_footage(world, script, film, rig_hash=rig.content_hash())
    source, footage, _ = opened(film, space.camera_ids, 4.0, True)
    user = User([-1], footage.frames)
    begun = []
    user.began = lambda step: begun.append(step.number)
    seen = []

    def see(camera, frame, dots):
        seen.append(frame.index)
        user.asks.put("finish")

    user.seen = see
    for word in words:
        user.asks.put(word)
    late = Late(source.sources)
    with late, pytest.raises(RushlightError, match="0 steps were made"):
        register_space_live(tmp_path, tmp_path / "live.json", user, user.asks, late)
    assert begun == (started or [])
    assert bool(seen) == (started is not None)


def test_what_cannot_be_registered_live_is_refused(tmp_path):
    text = (SCENARIOS / "ferry-model" / "rig.toml").read_text("utf-8")
    start, end = text.index("[[surfaces]]"), text.index("[[cameras]]")
    (tmp_path / "rig.toml").write_text(text[:start] + text[end:], "utf-8")
    sentences = (
        (tmp_path, ["--camera", "simulated:film"], "the measured mounting counts"),
        (
            SCENARIOS / "barn-wall",
            ["--camera", "one=camera:0", "--camera", "other=camera:1"],
            "a surface is registered live by one camera",
        ),
        (
            SCENARIOS / "ferry-model",
            ["--camera", "rig", "--plan", "p.json"],
            "does nothing beside --camera",
        ),
        (SCENARIOS / "choir-baton", ["--camera", "camera:0"], "does not say which of the cameras"),
    )
    for rig, options, sentence in sentences:
        told = CliRunner().invoke(app, ["register", "--rig", str(rig), *options], input="f\n")
        assert isinstance(told.exception, RushlightError)
        assert sentence in str(told.exception)
