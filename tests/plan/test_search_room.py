"""What of a room rules cameras out of a search: the beam, the projector's body, windows.

The plan of a single rig, which tells of the same by itself, is what the search is held against.
"""

from __future__ import annotations

import numpy as np
import pytest
from tests.search_rooms import place, room_data

from rushlight.physics.geometry import rig_from_camera_looking_at
from rushlight.plan.evaluate import evaluate
from rushlight.plan.lights_seen import lights_seen
from rushlight.plan.search_room import WINDOW_SHARE, RoomBounds, windows_per_s
from rushlight.plan.search_space import space_of
from rushlight.plan.search_trial import RULED_OUT, Trials
from rushlight.records.document import validate
from rushlight.records.rig import Rig
from rushlight.shelf.catalogue import built_in_shelf
from rushlight.shelf.resolve import resolve

MIDDLES = {
    "clear": (1.2, 1.6, 2.85),
    "lit": (1.2, 1.5, 0.6),  # between the projector's lens and the wall
    "behind": (1.2, 2.15, 2.2),  # sees the wall's lower middle past the projector
    "aside": (-1.0, 0.8, 2.5),
}


def room_with(windows: list[dict[str, object]], **settings: object) -> Rig:
    points = [place(name, "shelf", at) for name, at in MIDDLES.items()]
    data = room_data(points, aim="middle", currents=["20 mA"], **settings)
    data["room"]["windows"] = windows
    return validate(Rig, data, "rig.toml")


PANE = {
    "id": "pane", "corner": ["2.6 m", "0.3 m", "0 m"], "opposite": ["3.4 m", "1.3 m", "0 m"],
    "glazing": "none", "light": "sun",
}  # fmt: skip


def ruled_out(trials: Trials, numbers: list[int], code: str) -> list[bool]:
    rows = np.array([[number, *[0] * (len(trials.space.counts) - 1), *[0.5] * 5]
                     for number in numbers], float)  # fmt: skip
    column = list(RULED_OUT).index(code)
    return (trials.value(rows).constraints[:, column] > 0.0).tolist()


def test_a_camera_in_the_beam_or_behind_the_projector_is_ruled_out() -> None:
    only = {"cameras": ["vga-global-120"], "filters": ["long-pass-850"]}
    trials = Trials(space_of(room_with([], **only), built_in_shelf()), (3, 2))
    assert ruled_out(trials, [0, 1, 2, 3], "in-the-beam") == [False, True, True, False]
    rear = room_data([place("lit", "shelf", MIDDLES["lit"])])
    rear["surfaces"][0]["projector"]["position"][2] = "-1.2 m"
    assert not RoomBounds.of(validate(Rig, rear, "rig.toml")).in_beam(np.array([MIDDLES["lit"]]))


def test_windows_are_seen_as_the_plan_of_a_single_rig_sees_them() -> None:
    shelf = built_in_shelf()
    rig = room_with([PANE, {**PANE, "id": "blind", "light": "dark"}])
    aims = [(1.2, 0.72, 0.0), (2.2, 0.72, 0.0), (0.1, 0.72, 0.0)]
    stands = [(1.2, 1.6, 2.85), (1.2, 1.6, 2.85), (3.0, 1.2, 1.0)]
    poses = rig_from_camera_looking_at(np.array(stands), np.array(aims))
    bounds = RoomBounds.of(rig)
    seen = bounds.windows_in_view(resolve(rig, shelf), poses)
    assert seen.shape == (3, 1) and 0 < seen.sum() < 3
    for at, aim, here in zip(stands, aims, seen[:, 0], strict=True):
        one = room_with([PANE])
        camera = one.cameras[0].model_copy(
            update={
                key: validate(Rig, _with(key, where), "rig.toml").cameras[0].__dict__[key]
                for key, where in (("position", at), ("look_at", aim))
            }
        )
        one = one.model_copy(update={"cameras": [camera]})
        resolved = resolve(one, shelf)
        found = evaluate(resolved, 3, 2)
        told = [each for each in lights_seen(one, shelf, resolved, found) if each.id == "pane"]
        assert len(told) == int(here)
        if told:
            rate = windows_per_s(one, shelf, resolved)[0]
            assert told[0].full_share == pytest.approx(rate * found.exposure_s[0, 0])


def _with(key: str, where: tuple[float, ...]) -> dict[str, object]:
    data = room_data([])
    data["cameras"][0][key] = [f"{step} m" for step in where]
    return data


def test_a_search_does_not_look_into_the_sun_beyond_a_pane() -> None:
    bright = {**PANE, "corner": ["0 m", "1.55 m", "0 m"], "opposite": ["2.4 m", "2.2 m", "0 m"]}
    only = {"cameras": ["wide-vga-global-60"], "filters": ["none"], "emitters": ["ir850-5mm-17"]}
    by_day = Trials(space_of(room_with([bright], **only), built_in_shelf()), (3, 2))
    at_night = Trials(space_of(room_with([{**bright, "light": "dark"}], **only), built_in_shelf()))
    assert ruled_out(by_day, [0], "into-a-window") == [True]
    assert ruled_out(at_night, [0], "into-a-window") == [False]
    assert 0.0 < WINDOW_SHARE < 1.0
