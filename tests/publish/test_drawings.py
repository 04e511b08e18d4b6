"""Drawings: true to scale, in words too, and with the numbers that the plan worked out."""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from rushlight.physics.geometry import rig_from_camera_turned
from rushlight.physics.power import rating_on_sale
from rushlight.plan.power import plan_circuits
from rushlight.publish.aim import aim_words, hanging_of, place_words
from rushlight.publish.sheet import CHECK_MM, SCALES, WIDEST_MM, Sheet
from rushlight.publish.views import front_view, side_view, top_view
from rushlight.publish.wiring import circuits_of, wiring_drawing
from rushlight.records.figure import find_figure
from rushlight.shelf.resolve import resolve

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def hangings(source):
    return [hanging_of(resolve(source.rig, source.shelf), 0, "beam")]


@pytest.fixture(scope="module")
def drawings(source, hangings):
    return {
        "side": ET.fromstring(side_view(source.rig, hangings).svg),
        "top": ET.fromstring(top_view(source.rig, hangings).svg),
        "front": ET.fromstring(front_view(source.rig, hangings, source.plan.beacons).svg),
    }


def lines(drawing, role):
    return [each for each in drawing.iter(f"{SVG}line") if each.get("class") == role]


def length_mm(line):
    x1, y1, x2, y2 = (float(line.get(name)) for name in ("x1", "y1", "x2", "y2"))
    return math.hypot(x2 - x1, y2 - y1)


@pytest.mark.parametrize("name", ["side", "top", "front"])
def test_every_measured_line_has_its_length_to_scale(drawings, name):
    drawing = drawings[name]
    scale = int(drawing.get("data-scale"))
    assert scale in SCALES
    dimensions = [each for each in drawing.iter(f"{SVG}g") if each.get("class") == "dimension"]
    assert len(dimensions) >= 3
    for each in dimensions:
        drawn = length_mm(lines(each, "measure")[0])
        metres = float(each.get("data-metres"))
        assert drawn * scale / 1e3 == pytest.approx(metres, abs=2e-6 * scale)
        assert f"{metres:.2f}\xa0m" in [words.text for words in each.iter(f"{SVG}text")]


@pytest.mark.parametrize("name", ["side", "top", "front"])
def test_one_unit_is_one_millimetre_and_the_check_line_a_hundred(drawings, name):
    drawing = drawings[name]
    width = float(drawing.get("width").removesuffix("mm"))
    left, top, across, down = map(float, drawing.get("viewBox").split())
    assert (left, top, across, down) == (0, 0, width, float(drawing.get("height")[:-2]))
    assert width == WIDEST_MM
    (check,) = lines(drawing, "check-line")
    assert length_mm(check) == CHECK_MM


def test_the_surface_and_the_camera_are_where_the_rig_says(drawings):
    side, scale = drawings["side"], int(drawings["side"].get("data-scale"))
    (surface,) = lines(side, "surface")
    assert length_mm(surface) == pytest.approx(1500 / scale, abs=0.01)
    (floor,) = lines(side, "floor")
    camera = next(each for each in side.iter(f"{SVG}rect") if each.get("class") == "camera")
    lens_x, lens_y = float(camera.get("x")) + 2, float(camera.get("y")) + 2
    assert float(floor.get("y1")) - lens_y == pytest.approx(2350 / scale, abs=0.01)
    assert lens_x - float(surface.get("x1")) == pytest.approx(2850 / scale, abs=0.01)


def test_beacons_lie_on_the_surface_in_their_order(drawings, source):
    front, scale = drawings["front"], int(drawings["front"].get("data-scale"))
    outline = next(each for each in front.iter(f"{SVG}polygon") if each.get("class") == "surface")
    corner = [float(step) for step in outline.get("points").split()[0].split(",")]
    dots = [each for each in front.iter(f"{SVG}circle") if each.get("class") == "beacon"]
    assert len(dots) == len(source.plan.beacons)
    for dot, (x, y) in zip(dots, source.plan.beacons, strict=True):
        place = np.array([float(dot.get("cx")) - corner[0], corner[1] - float(dot.get("cy"))])
        assert place * scale / 1e3 == pytest.approx([x, y], abs=1e-4)


def test_all_stays_on_the_paper(drawings):
    for drawing in drawings.values():
        _, _, width, height = map(float, drawing.get("viewBox").split())
        for line in drawing.iter(f"{SVG}line"):
            for axis, limit in (("x", width), ("y", height)):
                for end in "12":
                    assert 0 <= float(line.get(axis + end)) <= limit


def test_a_larger_room_takes_a_smaller_scale():
    assert Sheet(0.0, 1.0, 0.0, 0.5).scale < Sheet(0.0, 10.0, 0.0, 5.0).scale
    assert Sheet(0.0, 500.0, 0.0, 5.0).scale > SCALES[-1]


@pytest.mark.parametrize(
    ("turn", "tilt", "roll", "words"),
    [
        (3.0, -12.0, 0.0, "turn 3° right, tilt 12° down, no roll"),
        (-3.0, 2.0, 0.0, "turn 3° left, tilt 2° up, no roll"),
        (0.4, -0.4, -5.0,
         "no turn, no tilt, roll 5° anticlockwise (seen from behind the camera)"),
    ],
)  # fmt: skip
def test_aim_in_words(turn, tilt, roll, words):
    assert aim_words(turn, tilt, roll) == words


def test_aim_is_that_of_the_rig(source):
    """A camera turned 10° to its right and 20° down, 2 m from the wall."""
    resolved = resolve(source.rig, source.shelf)
    pose = rig_from_camera_turned([1.0, 1.0, 2.0], math.radians(10), math.radians(-20))
    cameras = resolved.cameras.replace(rig_from_camera=pose[None, None])
    hanging = hanging_of(type(resolved)(**{**vars(resolved), "cameras": cameras}), 0, "beam")
    assert (hanging.turn_deg, hanging.tilt_deg) == pytest.approx((10.0, -20.0))
    along = 2.0 / math.cos(math.radians(10))
    assert hanging.aim_m[0] == pytest.approx(1.0 + 2.0 * math.tan(math.radians(10)))
    assert hanging.aim_m[1] == pytest.approx(1.0 - along * math.tan(math.radians(20)))
    assert hanging.focus_m == pytest.approx(along / math.cos(math.radians(20)))
    assert "1.75\xa0m above the floor, 2.00\xa0m out" in place_words(hanging)


def test_a_light_in_the_lower_left_corner_appears_at_the_lower_left(hangings):
    (lower_left, lower_right, upper_right, _) = hangings[0].corners_px
    assert lower_left[0] < 320 < lower_right[0]
    assert upper_right[1] < 240 < lower_right[1]


def test_one_drawing_for_equal_circuits_with_the_planned_resistor(source):
    (circuit,) = circuits_of(source.plan.circuits, source.shelf)
    assert circuit.lights == ("stylus-wren", "stylus-ash")
    planned = find_figure(source.plan.figures, "resistor")
    drawing = wiring_drawing(circuit, "wiring-1")
    words = [each.text for each in ET.fromstring(drawing.svg).iter(f"{SVG}tspan")]
    assert {f"{planned.value:g}\xa0Ω", "0.25 W or more", "in a holder"} <= set(words)
    assert "3\xa0V in all" in words
    assert "anode to cathode" in drawing.description


def test_unequal_circuits_are_drawn_apart(source):
    first, second = source.rig.carried
    part = source.shelf.of_kind("emitter")[-1].id
    light = second.emitters[0].model_copy(update={"part": part})
    other = second.model_copy(update={"emitters": [light]})
    rig = source.rig.model_copy(update={"carried": [first, other]})
    lights = [c.lights for c in circuits_of(plan_circuits(rig, source.shelf), source.shelf)]
    assert lights == [("stylus-wren",), ("stylus-ash",)]


def test_a_rating_bears_at_least_what_is_asked():
    for needed in (0.01, 0.25, 0.26, 1.7, 10.0):
        assert rating_on_sale(needed) >= needed
    assert rating_on_sale(11.0) is None
