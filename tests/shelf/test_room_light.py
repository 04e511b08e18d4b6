"""The room's light from its windows and lamps, through a camera's filter; wrong rooms."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from rushlight.errors import RushlightError
from rushlight.jobs.load import load_rig
from rushlight.physics.daylight import GLOBAL_W_M2, bins_within, in_band
from rushlight.records.room import Ambient, Lamp, Room, Window
from rushlight.shelf.resolve import resolve
from rushlight.shelf.room_light import (
    hours_of_sun,
    mean_and_gradient,
    outward_of,
    response_of,
    room_light,
)

BARN = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios/barn-wall"
LEFT = Window(id="left", corner=["-1 m", "0 m", "1 m"], opposite=["-1 m", "1.2 m", "2.5 m"])
BEHIND = Window(id="back", corner=["0 m", "0 m", "6 m"], opposite=["2 m", "1 m", "6 m"])
BESIDE = Window(id="beside", corner=["3 m", "0 m", "0 m"], opposite=["4 m", "1 m", "0 m"])
ABOVE = Window(id="above", corner=["0 m", "2.4 m", "2 m"], opposite=["1 m", "2.4 m", "3 m"])
BULB = Lamp(id="bulb", kind="halogen", position=["1.2 m", "2 m", "2 m"], watts="40 W")


@pytest.fixture(scope="module")
def parts():
    rig, shelf = load_rig(BARN)
    return rig, shelf


def with_room(rig, ambient=None, **room):
    sizes = {"width": "5 m", "depth": "6 m", "height": "3.2 m"}
    return rig.model_copy(update={"room": Room(**{**sizes, **room}), "ambient": ambient})


def light(parts, **room):
    rig, shelf = parts
    changed = with_room(rig, **room)
    return room_light(changed, shelf, changed.cameras[0], 850e-9)


def test_response_is_one_at_the_light_and_nothing_before_a_long_pass_but_its_leak(parts) -> None:
    _, shelf = parts
    camera, edge = shelf.camera("vga-global-120"), shelf.filter("long-pass-850")
    found = response_of(camera, edge, 850e-9)
    assert in_band(np.ones(55), found * bins_within(850e-9, 860e-9)) == pytest.approx(1.0, abs=0.03)
    leak = edge.leak.si / edge.transmission.si
    visible = found[bins_within(400e-9, 700e-9) > 0]
    assert np.all(visible <= 2.5 * leak)
    assert np.all(np.diff(found[-15:]) < 0.0)
    bare = response_of(camera, None, 850e-9)
    assert in_band(GLOBAL_W_M2, bare) > 3.0 * in_band(GLOBAL_W_M2, found)


def test_a_band_filter_lets_in_less_of_the_sun(parts) -> None:
    _, shelf = parts
    camera = shelf.camera("vga-global-120")
    wide = in_band(GLOBAL_W_M2, response_of(camera, shelf.filter("long-pass-850"), 850e-9))
    narrow = in_band(GLOBAL_W_M2, response_of(camera, shelf.filter("band-850-50"), 850e-9))
    assert narrow < 0.6 * wide


def test_windows_and_lamps_add_up_and_the_sun_only_adds(parts) -> None:
    whole = light(parts, windows=[LEFT, BEHIND], lamps=[BULB])
    each = [
        light(parts, windows=[LEFT]),
        light(parts, windows=[BEHIND]),
        light(parts, lamps=[BULB]),
    ]
    np.testing.assert_allclose(whole.told(), sum(one.told() for one in each))
    assert np.all(whole.sun() >= whole.told())
    assert whole.sun().mean() > 3.0 * whole.told().mean()
    assert np.isnan(each[2].to_sun).all()
    np.testing.assert_array_equal(each[2].sun(), each[2].told())


def test_worst_sun_shines_in_from_outside(parts) -> None:
    found = light(parts, windows=[LEFT])
    assert found.to_sun[0] < 0.0 < found.to_sun[1]
    assert found.to_sun[2] > 0.0
    lit = found.sun() - found.told() > 1.0
    assert lit.any()
    np.testing.assert_array_equal(outward_of(LEFT, np.array([1.2, 0.75])), [-1.0, 0.0, 0.0])
    np.testing.assert_array_equal(outward_of(BESIDE, np.array([1.2, 0.75])), [0.0, 0.0, -1.0])


@pytest.mark.parametrize("window", [LEFT, BEHIND, ABOVE])
def test_the_side_of_a_window_is_brighter(parts, window) -> None:
    found = light(parts, windows=[window])
    mean, gradient = mean_and_gradient(found.places_m, found.told())
    assert mean > 0.0
    if window is LEFT:
        assert gradient < -0.2


def test_a_window_beside_the_display_lights_it_by_way_of_the_room_only(parts) -> None:
    found = light(parts, windows=[BESIDE]).told()
    assert found.min() == pytest.approx(found.max()) and found.min() > 0.0
    small = light(parts, windows=[BESIDE], width=None)
    assert not small.thrown
    np.testing.assert_array_equal(small.told(), 0.0)


@pytest.mark.parametrize(
    ("change", "factor"), [({"glazing": "none"}, 1.25), ({"light": "dark"}, 0.0)]
)
def test_glass_and_night(parts, change, factor) -> None:
    changed = LEFT.model_copy(update=change)
    assert light(parts, windows=[changed]).told().mean() == pytest.approx(
        factor * light(parts, windows=[LEFT]).told().mean()
    )


WEST_ROOM = {"facing": "0 deg", "latitude": "54 deg"}


def test_the_sun_of_the_year_is_no_worse_than_from_anywhere(parts) -> None:
    anywhere = light(parts, windows=[LEFT]).sun().mean()
    year = light(parts, windows=[LEFT], **WEST_ROOM)
    assert 0.0 < year.sun().mean() < anywhere
    # Whoever looks north has the west on the left: the sun in it is south-west, not north of it.
    assert year.to_sun[0] < 0.0 < year.to_sun[2]
    # South of the equator the sun keeps to the north, behind the display: by a window behind the
    # people it hardly comes in.
    south = light(parts, windows=[BEHIND], facing="0 deg", latitude="-54 deg")
    assert south.sun().mean() < light(parts, windows=[BEHIND], **WEST_ROOM).sun().mean()


def test_hours_of_sun_in_a_west_window_are_afternoons(parts) -> None:
    rig, shelf = parts
    changed = with_room(rig, windows=[LEFT], **WEST_ROOM)
    places = np.array([[0.3, 0.2], [1.2, 0.7]])
    hours = hours_of_sun(changed, shelf, changed.cameras[0], 850e-9, places)
    assert set(hours) == {"March", "June", "September", "December"}
    lit = np.concatenate([when[sun.max(axis=1) > 1.0] for when, sun in hours.values()])
    assert lit.size
    assert np.all(lit > 12.0)
    june, december = (len(hours[month][0]) for month in ("June", "December"))
    assert june > 2 * december
    east = with_room(rig, windows=[LEFT], facing="180 deg", latitude="54 deg")
    mirrored = hours_of_sun(east, shelf, east.cameras[0], 850e-9, places)
    lit = np.concatenate([when[sun.max(axis=1) > 1.0] for when, sun in mirrored.values()])
    assert np.all(lit < 12.0)
    assert hours_of_sun(with_room(rig, windows=[LEFT]), shelf, rig.cameras[0], 850e-9, places) == {}


def test_only_sky_comes_in_where_the_sun_does_not(parts) -> None:
    found = light(parts, windows=[LEFT.model_copy(update={"light": "sky"})])
    np.testing.assert_array_equal(found.sun(), found.told())


def test_a_given_value_wins_and_without_one_the_estimate_counts(parts) -> None:
    rig, shelf = parts
    given = Ambient(irradiance="0.1 W/m2", gradient="30 %")
    told = resolve(with_room(rig, given, windows=[LEFT]), shelf).surface
    assert (told.ambient_w_m2[0], told.ambient_gradient[0]) == pytest.approx((0.1, 0.3))
    found = resolve(with_room(rig, None, windows=[LEFT]), shelf).surface
    light_there = light(parts, windows=[LEFT])
    assert found.ambient_w_m2[0] == pytest.approx(light_there.told().mean())
    assert -1.0 <= found.ambient_gradient[0] < 0.0
    with pytest.raises(RushlightError, match=r"room\.windows"):
        resolve(with_room(rig, None), shelf)


TEXT = (BARN / "rig.toml").read_text("utf-8")
OWN_ROOM = TEXT[TEXT.index("[room]") : TEXT.index("[ambient]")]
WINDOW = """
[[room.windows]]
id = "door"
corner = ["-1 m", "0 m", "1 m"]
opposite = ["-1 m", "1 m", "2 m"]
"""
ROOM = '[room]\nwidth = "5 m"\ndepth = "6 m"\nheight = "3.2 m"\n'
WRONG = {
    "beyond the pole": ('latitude = "99 deg"\nfacing = "0 deg"\n', "lies beyond a pole"),
    "window with depth": (
        WINDOW.replace('opposite = ["-1 m"', 'opposite = ["0 m"'),
        "needs two corners that are equal in exactly one coordinate, that of its wall",
    ),
    "window in the picture": (
        WINDOW.replace('["-1 m", "0 m", "1 m"]', '["1 m", "0 m", "0 m"]').replace(
            '["-1 m", "1 m", "2 m"]', '["2 m", "1 m", "0 m"]'
        ),
        "puts it where the picture is",
    ),
    "window in mid air": (
        'left = "1.4 m"\n' + WINDOW.replace("-1 m", "0.5 m"),
        "stands free in the room: its x is 0.5 m, and walls are at -1.4 or 3.6 m",
    ),
    "window too high": (
        WINDOW.replace('"1 m", "2 m"', '"4 m", "2 m"'),
        "lies 1.55 m above the ceiling",
    ),
    "glass above all": (WINDOW + 'transmission = "120 %"\n', "is more light than falls on it"),
    "lamp of two strengths": (
        '[[room.lamps]]\nid = "a"\nkind = "led"\nposition = ["0 m", "1 m", "1 m"]\n'
        'watts = "8 W"\nlumens = "800 lm"\n',
        "needs exactly one of watts and lumens",
    ),
    "lamp out of doors": (
        '[[room.lamps]]\nid = "a"\nkind = "led"\nposition = ["0 m", "1 m", "9 m"]\nwatts = "8 W"\n',
        "lies 3.00 m behind the room's far wall",
    ),
    "neighbour of an unknown part": (
        '[[room.neighbours]]\nid = "a"\ncorner = ["0 m", "1 m", "5 m"]\n'
        'opposite = ["1 m", "2 m", "5 m"]\npart = "ir850-5mm-71"\ncurrent = "20 mA"\n',
        'write "ir850-5mm-17" if that is meant',
    ),
    "visible remote control": (
        '[[room.disturbers]]\nid = "a"\nkind = "remote-control"\nposition = ["0 m", "1 m", "1 m"]\n'
        'wavelength = "9.4 um"\n',
        "is no light that such cameras see, from 400 to 1100 nm",
    ),
    "surface through the wall": ('left = "4 m"\n', "1.40 m through the wall on its right"),
    "readers out of doors": ('farthest_reader = "8 m"\n', "is farther than the room is deep, 6 m"),
}


@pytest.mark.parametrize("what", WRONG)
def test_wrong_rooms_are_told_of_in_one_sentence(sentences, what) -> None:
    added, said = WRONG[what]
    found = sentences(OWN_ROOM, ROOM + added + "\n")
    assert len(found) == 1, found
    assert said in found[0]


def test_children_are_told_of(sentences) -> None:
    old = 'id = "grower-wren"\n'
    found = sentences(old + "stature", old + "age = 14\nstature", "note")
    assert any("no published sizes of their shoulders and arms" in each for each in found)
    assert any("most children of 14 measure 1.50 to 1.80 m" in each for each in found)
    assert any("has no published reach band" in each for each in found)


def test_a_child_as_tall_as_a_grown_up_is_doubted(sentences) -> None:
    old = 'id = "grower-wren"\n'
    found = sentences(old + "stature", old + "age = 6\nstature", "warning")
    (doubt,) = [each for each in found if "people[0].stature" in each]
    assert "most children of 6 measure" in doubt


def test_writing_taller_than_the_wall(sentences) -> None:
    (found,) = sentences('text_height = "30 mm"', 'text_height = "2 m"')
    assert "is more than the whole surface, 1.5 m high" in found
