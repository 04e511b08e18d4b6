"""A live registration by rehearsed hands: its error against the truth, and what users ask of it."""

import dataclasses
import queue
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from rushlight.errors import RushlightError
from rushlight.jobs.load import load_rig
from rushlight.jobs.register_live import register_live
from rushlight.jobs.register_telling import DASHES, Unseen
from rushlight.jobs.registering import Ground
from rushlight.jobs.rehearsal import RehearsalSource, rehearsal_world
from rushlight.keep.session import SessionReader
from rushlight.physics.surface_map import camera_of_plane_map, surface_from_px, transferred_cov
from rushlight.physics.surface_model import map_design
from rushlight.records.document import read_document
from rushlight.records.registration import Registration
from rushlight.register.holds import find_holds, match_goals
from rushlight.see.detect import Detector
from rushlight.simulate import scripts
from rushlight.simulate.footage import frames
from rushlight.simulate.world import draw_world
from rushlight.track.rig import noise_of

BARN_WALL = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios/barn-wall"
SEEDS = range(10)
WREN = "stylus-wren"


@pytest.fixture(scope="module")
def slow(tmp_path_factory):
    """The barn wall with a camera of 30 Hz, so that fewer frames are drawn."""
    home = tmp_path_factory.mktemp("slow")
    text = (BARN_WALL / "rig.toml").read_text()
    assert 'frame_rate = "100 Hz"' in text
    (home / "rig.toml").write_text(text.replace('frame_rate = "100 Hz"', 'frame_rate = "30 Hz"'))
    return home


@pytest.fixture(scope="module")
def worlds(slow):
    first, _ = rehearsal_world(slow, 0)

    def drawn(seed):
        return draw_world(first.rig, seed, cast=first.cast, registering=(0,))

    return drawn


def mapped(registration, px):
    one = registration.maps[0]
    return surface_from_px(
        px,
        np.array(one.camera_matrix),
        np.array(one.distortion),
        np.array(one.surface_from_normalised),
        np.array(registration.flatness_m),
        np.array(registration.valid_for.surface_size_m),
        np.array(one.camera_position_m),
    )


def dots_of(world, script):
    """Capture and dots of every frame of a script."""
    detect = Detector(*world.size_px, noise_of(world.rig, 0, world.full_scale_dn))
    return [(frame.capture_ns, detect(frame.image)) for frame, _ in frames(world, script)]


def held_quietly(world):
    """Twelve places (12, 2) [m] of a grid that a quiet hand holds, and where they are seen [px]."""
    # The same room, without what belongs to the single dot and the single grasp.
    quiet = draw_world(
        world.rig, world.seed, {"lens", "flatness"}, cast=world.cast, registering=(0,)
    )
    quiet = dataclasses.replace(quiet, lens=world.lens, bends_m=world.bends_m)
    script = scripts.grid(quiet, 4, 3, hold_s=0.4)
    wren = dataclasses.replace(
        script,
        timelines=script.timelines[:1],
        goals=tuple(goal for goal in script.goals if goal.carried == WREN),
    )
    pairs, _ = match_goals(find_holds(dots_of(quiet, wren))[0], wren.goals)
    assert len(pairs) == 12
    return np.array([goal.place_m for goal, _ in pairs]), np.array([hold.px for _, hold in pairs])


def true_and_predicted(goal, px, registration):
    """Mean square error of the map against the truth, and as the map itself expects [m²]."""
    missed = mapped(registration, px) - goal
    one, size = registration.maps[0], np.array(registration.valid_for.surface_size_m)
    design = map_design(
        goal,
        size,
        one.camera_matrix,
        one.distortion,
        registration.lens_std,
        camera_of_plane_map(one.surface_from_normalised, size),
        registration.flatness_rms_m,
    )
    cov = transferred_cov(design, registration.cov)
    return np.mean(np.sum(missed**2, axis=1)), np.mean(np.trace(cov, axis1=-2, axis2=-1))


class Heard(Unseen):
    """Keeps what is told; does something at a moment."""

    def __init__(self, act=lambda beacon, state: None):
        self.beacons, self.states, self._act = [], [], act

    def beacon(self, beacon):
        self.beacons.append(beacon)
        self._act(beacon, None)

    def state(self, state):
        self.states.append(state)
        self._act(None, state)


def test_the_error_of_live_maps_is_what_they_say_and_as_that_of_footage(slow, worlds, tmp_path):
    rig, _ = load_rig(slow)
    sums = {"live": np.zeros(2), "footage": np.zeros(2)}
    for seed in SEEDS:
        world = worlds(seed)
        live = register_live(
            slow,
            tmp_path / f"{seed}.json",
            source=RehearsalSource(world, paced=False),
            touched_by=(WREN,),
            keep=False,
        ).registration
        assert len(live.touches) == 9
        assert live.verdict.vouched, live.verdict.reasons
        script = scripts.registration(world)
        pairs, _ = match_goals(find_holds(dots_of(world, script))[0], script.goals)
        film = Ground(rig, world.rig, 0, "rig.toml", world.size_px).fit(
            [(goal.place_m, goal.carried, hold) for goal, hold in pairs]
        )
        held = held_quietly(world)
        sums["live"] += true_and_predicted(*held, live)
        sums["footage"] += true_and_predicted(*held, film)
    ratio = {name: np.sqrt(true / predicted) for name, (true, predicted) in sums.items()}
    assert 0.6 < ratio["live"] < 1.5, ratio
    assert 0.6 < ratio["footage"] < 1.5, ratio
    # Beacons chosen by information promise no less than three rows of three, and keep it.
    assert sums["live"][1] < 1.05 * sums["footage"][1]
    assert np.sqrt(sums["live"][0] / sums["footage"][0]) < 1.4


@pytest.fixture
def registered(slow, worlds, tmp_path):
    """A registration of one world by one stylus; what was heard, and the result."""

    def register(act=lambda beacon, state: None, seed=1, beacons=6, **choices):
        heard = Heard(act)
        source = choices.pop("source", None) or RehearsalSource(worlds(seed), paced=False)
        out = tmp_path / f"{len(list(tmp_path.iterdir()))}.json"
        found = register_live(
            slow, out, heard, source, beacons=beacons, touched_by=(WREN,), **choices
        )
        return heard, found

    return register


def test_dashes_go_out_while_the_light_is_held_and_what_was_seen_is_kept(registered):
    heard, found = registered()
    shown = [beacon for beacon in heard.beacons if beacon is not None]
    assert {beacon.of for beacon in shown} == {6}
    assert heard.beacons[-1] is None
    for number in range(1, 7):
        left = [beacon.dashes_left for beacon in shown if beacon.number == number]
        assert left[0] == DASHES
        assert min(left) <= 1
        assert all(later < before for before, later in pairwise(left))
    one = shown[0]
    assert one.x_px == pytest.approx(one.x_m / 2.4 * 1280)
    assert one.y_px == pytest.approx((1 - one.y_m / 1.5) * 800)
    assert found.simulated
    assert read_document(Registration, found.registration_path) == found.registration
    kept = found.registration_path.with_name(f"{found.registration_path.stem}-touches.sqlite")
    with SessionReader(kept) as session:
        sightings = list(session.sightings())
    holds, _ = find_holds([(frame.capture_ns, dots) for frame, dots in sightings])
    # Touches are read from what was kept as they were read while it came.
    assert len(holds) == 6
    for hold, touch in zip(holds, found.registration.touches, strict=True):
        assert np.allclose(hold.px, touch.px, atol=0.1)


def test_the_error_map_comes_with_the_fifth_touch_and_shrinks(registered):
    heard, _ = registered(beacons=8)
    told = [state.as_dict() for state in heard.states]
    assert [state["done"] for state in told] == [1, 2, 3, 4, 5, 6, 7, 8, 8]
    assert all(state["map"] is None for state in told[:4])
    means = [state["mean_mm"] for state in told[4:]]
    assert means[-1] < 0.8 * means[0]
    assert told[4]["vouched"] is False
    assert told[-1]["stage"] == "judged"
    assert told[-1]["vouched"] is True
    assert np.array(told[-1]["map"]["rms_mm"]).shape == (16, 25)


def test_a_touch_done_again_replaces_the_first(registered):
    asks = queue.SimpleQueue()
    before = {}

    def act(beacon, state):
        if state is not None and state.stage == "judged":
            if before:
                asks.put({"finish": True})
            else:
                before["touches"] = state.touches
                asks.put({"redo": 3})

    heard, found = registered(act, asks=asks, linger=True)
    assert [touch.goal_m for touch in found.registration.touches] == [
        (touch.x_m, touch.y_m) for touch in before["touches"]
    ]
    assert len(found.registration.touches) == 6
    third = [beacon for beacon in heard.beacons if beacon is not None and beacon.number == 3]
    assert [beacon.dashes_left for beacon in third].count(DASHES) == 2
    assert before["touches"][2].missed_mm != pytest.approx(
        next(t for t in heard.states[-1].touches if t.number == 3).missed_mm, abs=1e-9
    )


def test_the_beacon_that_stands_may_be_asked_for_again(registered):
    asks = queue.SimpleQueue()

    def act(beacon, state):
        if beacon is not None and beacon.number == 2 and beacon.dashes_left == DASHES:
            if not asked:
                asks.put({"redo": 2})
            asked.append(beacon)

    asked = []
    _, found = registered(act, asks=asks)
    assert len(asked) == 2
    assert len(found.registration.touches) == 6


def test_a_beacon_that_cannot_be_reached_is_skipped_for_another(registered):
    asks = queue.SimpleQueue()

    def act(beacon, state):
        if beacon is not None and beacon.number == 2 and beacon.dashes_left == DASHES:
            asks.put({"skip": True})

    heard, found = registered(act, asks=asks)
    skipped = next(b for b in heard.beacons if b is not None and b.number == 2)
    goals = [touch.goal_m for touch in found.registration.touches]
    assert len(goals) == 6
    assert (skipped.x_m, skipped.y_m) not in goals
    assert "was skipped" in str(found.findings[0])
    assert max(b.of for b in heard.beacons if b is not None) == 7


class Disturbing(Heard):
    """While the seventh beacon stands, the other grower holds a light, until that is noticed."""

    def __init__(self, source):
        super().__init__()
        self.source, self.told = source, []

    def seen(self, frame, dots):
        now = self.beacons[-1] if self.beacons else None
        if now is None or now.number != 7:
            return
        if not self.told:
            self.told.append("disturbed")
            self.source.release(WREN)
            self.source.invite("stylus-ash", 1.2, 0.7)
        elif self.states[-1].findings and len(self.told) == 1:
            self.told.append("noticed")
            self.source.release("stylus-ash")
            self.source.invite(WREN, now.x_m, now.y_m)


def test_a_light_held_elsewhere_is_no_touch(slow, worlds, tmp_path):
    source = RehearsalSource(worlds(1), paced=False)
    show = Disturbing(source)
    found = register_live(
        slow, tmp_path / "r.json", show, source, beacons=7, touched_by=(WREN,), keep=False
    )
    assert show.told == ["disturbed", "noticed"]
    assert [each.code for each in found.findings] == ["stray-touch"]
    assert all(touch.used for touch in found.registration.touches)


@pytest.mark.parametrize(("after", "code"), [(3, "too-few-touches"), (5, None)])
def test_stopped_early_the_touches_count_as_far_as_they_tell(registered, after, code):
    asks = queue.SimpleQueue()

    def act(beacon, state):
        if state is not None and state.done == after:
            asks.put({"stop": True})

    if code is None:
        _, found = registered(act, asks=asks)
        assert not found.registration.verdict.vouched
        return
    with pytest.raises(RushlightError) as caught:
        registered(act, asks=asks)
    assert caught.value.findings[0].code == code
