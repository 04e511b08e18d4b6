"""Wrong rigs: each is answered by one sentence that says where, what, why and what to do."""

import pytest

from rushlight.jobs.check import check
from rushlight.records.registration import LensCalibration, Verdict

CAMERA = 'part = "vga-global-120"\n'
STANDING = (
    'standing = [["0.1 m", "0.3 m"], ["1.3 m", "0.3 m"], ["1.3 m", "0.6 m"], ["0.1 m", "0.6 m"]]'
)
WRONG = {
    "exposure longer than the frame": (
        'exposure = "auto"\nframe_rate = "100 Hz"',
        'exposure = "40 ms"\nframe_rate = "30 Hz"',
        'rig.toml: cameras[0].exposure = "40 ms" is longer than the 33.3 ms frame period at 30 Hz; '
        'use "33 ms" or less, or lower frame_rate.',
    ),
    "exposure shorter than the part's": (
        'exposure = "auto"',
        'exposure = "20 us"',
        'rig.toml: cameras[0].exposure = "20 us" is shorter than the 0.1 ms that vga-global-120 '
        "can "
        'do; use "0.1 ms" or more.',
    ),
    "frame rate above the part's": (
        'frame_rate = "100 Hz"',
        'frame_rate = "200 Hz"',
        'rig.toml: cameras[0].frame_rate = "200 Hz" is above the 120 Hz that vga-global-120 '
        "reaches; "
        'use "120 Hz" or less, or another camera.',
    ),
    "unknown camera": (
        CAMERA,
        'part = "vga-globl-120"\n',
        'rig.toml: cameras[0].part = "vga-globl-120" is not a camera on the shelf; write '
        '"vga-global-120" if that is meant.',
    ),
    "unknown cell": (
        'cell = "aa-alkaline"',
        'cell = "potato"',
        'rig.toml: carried[0].cell = "potato" is not a cell on the shelf; use one of aa-alkaline, '
        "aaa-alkaline, aa-nimh, aaa-nimh, cr2032, li-ion-18650, usb-supply.",
    ),
    "unknown filter": (
        'filter = "long-pass-850"',
        'filter = "longpass-850"',
        'rig.toml: cameras[0].filter = "longpass-850" is not a filter on the shelf; write '
        '"long-pass-850" if that is meant.',
    ),
    "unknown display": (
        'display = "projector-wxga-short-throw"',
        'display = "projector-full-hd"',
        'rig.toml: surfaces[0].display = "projector-full-hd" is not a display on the shelf; write '
        '"projector-fullhd" if that is meant.',
    ),
    "unknown person": (
        'person = "grower-wren"',
        'person = "grower-wrem"',
        'rig.toml: carried[0].person = "grower-wrem" is not the id of a person of this rig; write '
        '"grower-wren" if that is meant.',
    ),
    "camera behind the wall": (
        'position = ["1.2 m", "1.6 m", "2.85 m"]',
        'position = ["1.2 m", "1.6 m", "-2.85 m"]',
        'rig.toml: cameras[0].position = ["1.2 m", "1.6 m", "-2.85 m"] stands in or behind the '
        "wall: "
        "its third number, the distance out of it, is not above 0; give a third number above 0.",
    ),
    "camera below the floor": (
        'position = ["1.2 m", "1.6 m", "2.85 m"]',
        'position = ["1.2 m", "-0.95 m", "2.85 m"]',
        'rig.toml: cameras[0].position = ["1.2 m", "-0.95 m", "2.85 m"] lies 0.20 m below the '
        "floor, "
        'counting up from the surface\'s lower edge; use a second number of "-0.75 m" or more.',
    ),
    "camera above the ceiling": (
        'position = ["1.2 m", "1.6 m", "2.85 m"]',
        'position = ["1.2 m", "2.5 m", "2.85 m"]',
        'rig.toml: cameras[0].position = ["1.2 m", "2.5 m", "2.85 m"] lies 0.05 m above the '
        "ceiling; "
        'use a second number of "2.45 m" or less.',
    ),
    "camera behind the far wall": (
        'position = ["1.2 m", "1.6 m", "2.85 m"]',
        'position = ["1.2 m", "1.6 m", "6.35 m"]',
        'rig.toml: cameras[0].position = ["1.2 m", "1.6 m", "6.35 m"] lies 0.35 m behind the '
        "room's "
        'far wall; use a third number of "6 m" or less.',
    ),
    "aim that misses": (
        'look_at = ["1.2 m", "0.72 m", "0 m"]',
        'look_at = ["1.2 m", "7.2 m", "0 m"]',
        'rig.toml: cameras[0].look_at = ["1.2 m", "7.2 m", "0 m"] meets the wall at x = 1.20 m, '
        "y = 7.20 m, off the surface, which reaches to x = 2.4 m, y = 1.5 m: no part of it is in "
        "the "
        'picture; aim at the surface; look_at = ["1.2 m", "0.75 m", "0 m"] is the middle.',
    ),
    "aim away from the wall": (
        'look_at = ["1.2 m", "0.72 m", "0 m"]',
        'aim = { turn = "180 deg", tilt = "0 deg" }',
        'rig.toml: cameras[0].aim turns the camera away from the wall; turn it; look_at = ["1.2 '
        'm", '
        '"0.75 m", "0 m"] is the middle.',
    ),
    "aim at itself": (
        'look_at = ["1.2 m", "0.72 m", "0 m"]',
        'look_at = ["1.2 m", "1.6 m", "2.85 m"]',
        'rig.toml: cameras[0].look_at = ["1.2 m", "1.6 m", "2.85 m"] is the camera\'s own place; '
        "give "
        "a point of the surface, such as its middle.",
    ),
    "infrared-cut camera": (
        CAMERA + 'position = ["1.2 m", "1.6 m", "2.85 m"]\n'
        'look_at = ["1.2 m", "0.72 m", "0 m"]\nexposure = "auto"\nframe_rate = "100 Hz"',
        'part = "webcam-with-cut-filter"\nposition = ["1.2 m", "1.6 m", "2.85 m"]\n'
        'look_at = ["1.2 m", "0.72 m", "0 m"]\nexposure = "auto"\nframe_rate = "30 Hz"',
        'rig.toml: cameras[0].part = "webcam-with-cut-filter" has an infrared-cut filter in its '
        "lens "
        "and sees next to nothing of these lights; use a camera without one, or describe yours "
        "after taking it out in a *.shelf.toml.",
    ),
    "gain below one": (
        'frame_rate = "100 Hz"',
        'frame_rate = "100 Hz"\ngain = 0.5',
        "rig.toml: cameras[0].gain = 0.5 is below 1, where the sensor is full before the picture "
        "is "
        "white; use 1 or more.",
    ),
    "filter that blocks the light": (
        'filter = "long-pass-850"',
        'filter = "band-940-50"',
        'rig.toml: cameras[0].filter = "band-940-50" blocks the 850 nm light of ir850-5mm-17; '
        "use a "
        "filter that passes it, or another emitter.",
    ),
    "current above the emitter's": (
        'current = "20 mA"',
        'current = "120 mA"',
        'rig.toml: carried[0].emitters[0].current = "120 mA" is above the 100 mA that ir850-5mm-17 '
        'bears steadily; use "100 mA" or less.',
    ),
    "coin cell": (
        'cell = "aa-alkaline"\ncells = 2',
        'cell = "cr2032"\ncells = 1',
        'rig.toml: carried[0].cell = "cr2032" gives 3 mA steadily and 15 mA in pulses, and the '
        "lights "
        "draw 20 mA; use a stronger cell or less current.",
    ),
    "too few cells": (
        'cell = "aa-alkaline"\ncells = 2',
        'cell = "aaa-nimh"\ncells = 1',
        'rig.toml: carried[0].cell = "aaa-nimh" gives 1.2 V (aaa-nimh), and ir850-5mm-17 needs '
        "1.5 V "
        "to shine; use cells = 2 or more, or another supply.",
    ),
    "tilt reversed": (
        'tilt = ["10 deg", "40 deg"]',
        'tilt = ["40 deg", "10 deg"]',
        'rig.toml: carried[0].tilt = ["40 deg", "10 deg"] begins with the greater angle; write '
        '["10 deg", "40 deg"].',
    ),
    "tilt flat": (
        'tilt = ["10 deg", "40 deg"]',
        'tilt = ["10 deg", "95 deg"]',
        'rig.toml: carried[0].tilt = ["10 deg", "95 deg"] lays the stylus flat on the surface or '
        "beyond; count from the surface's normal, and stay below 90 deg.",
    ),
    "far from the tip": (
        'distance_from_tip = "12 mm"',
        'distance_from_tip = "12 m"',
        'rig.toml: carried[0].emitters[0].distance_from_tip = "12 m" is more than 0.3 m from the '
        "tip, "
        "and a tilt of 30° would move its dot by half of it; put the emitter near the tip, such as "
        '"12 mm".',
    ),
    "diffuser that adds light": (
        'transmission = "60 %"',
        'transmission = "160 %"',
        'rig.toml: carried[0].emitters[0].diffuser.transmission = "160 %" is more than all of '
        "it; use "
        '"100 %" or less.',
    ),
    "pulsed without duty": (
        'drive = "switched"\nduty = "30 %"',
        'drive = "pulsed"',
        "rig.toml: carried[0].emitters[0].duty is missing, and a pulsed light needs it; add the "
        "share "
        'of the time that it is lit, such as duty = "10 %".',
    ),
    "id twice": (
        'id = "stylus-ash"',
        'id = "stylus-wren"',
        'rig.toml: carried[1].id = "stylus-wren" is already the id of carried[0]; give each its '
        "own "
        "id.",
    ),
    "person behind the wall": (
        STANDING,
        'standing = [["0.1 m", "-0.3 m"], ["1.3 m", "-0.3 m"], ["1.3 m", "-0.6 m"]]',
        'rig.toml: people[0].standing = [["0.1 m", "-0.3 m"], ["1.3 m", "-0.3 m"], ["1.3 m", '
        '"-0.6 m"]] lies with all of its corners in or behind the wall, where nobody can stand; '
        "give "
        "each corner as [along the wall, out of it], the second above 0.",
    ),
    "person on a line": (
        STANDING,
        'standing = [["0.1 m", "0.3 m"], ["1.3 m", "0.3 m"], ["0.7 m", "0.3 m"]]',
        'rig.toml: people[0].standing = [["0.1 m", "0.3 m"], ["1.3 m", "0.3 m"], ["0.7 m", "0.3 '
        'm"]] '
        "encloses no floor to stand on; list the corners one after another round the place.",
    ),
    "out of reach": (
        STANDING,
        'standing = [["0.1 m", "1.5 m"], ["1.3 m", "1.5 m"], ["0.7 m", "1.8 m"]]',
        'rig.toml: people[0].reach = "0.94 m" touches nothing of the surface: from where '
        "grower-wren "
        "stands the shoulder comes no nearer than 1.50 m; let them stand nearer, or hang the "
        "surface "
        "within reach.",
    ),
    "seated without shoulder": (
        'shoulder_height = "1.36 m"\n',
        "seated = true\n",
        "rig.toml: people[0].shoulder_height is missing, and cannot be told from the stature of "
        "someone seated; measure it from the floor.",
    ),
    "shoulder above the head": (
        'shoulder_height = "1.36 m"\n',
        'shoulder_height = "1.76 m"\n',
        'rig.toml: people[0].shoulder_height = "1.76 m" is not below the stature of 1.66 m; '
        "measure "
        "both from the floor.",
    ),
    "wall that returns too much": (
        'reflectance = "80 %"',
        'reflectance = "180 %"',
        'rig.toml: surfaces[0].reflectance = "180 %" is more light than falls on it; use "100 %" '
        "or "
        "less.",
    ),
    "refresh above the display's": (
        'refresh = "60 Hz"',
        'refresh = "120 Hz"',
        'rig.toml: surfaces[0].refresh = "120 Hz" is above the 60 Hz of '
        "projector-wxga-short-throw; "
        'use "60 Hz" or less.',
    ),
    "coverage above all": (
        'coverage = "90 %"',
        'coverage = "190 %"',
        'rig.toml: targets.coverage = "190 %" is more than the whole surface; use "100 %" or less.',
    ),
    "gradient above all": (
        'gradient = "30 %"',
        'gradient = "300 %"',
        'rig.toml: ambient.gradient = "300 %" would leave less than no light on one side; use '
        '"100 %" or less.',
    ),
}

DOUBTFUL = {
    "unknown licence": (
        "warning",
        'licence = "CERN-OHL-P-2.0"',
        'licence = "CERN-OHL-P"',
        'rig.toml: licence = "CERN-OHL-P" is not one of the SPDX licence identifiers that this '
        'program knows; write "CERN-OHL-P-2.0" if that is meant.',
    ),
    "weight without figure": (
        "warning",
        "[weights]\n",
        "[weights]\njitter = 1\n",
        "rig.toml: weights.jitter = 1.0 weighs a figure that the reference device lacks; add the "
        'reference\'s "jitter" with its source, or remove the weight.',
    ),
    "blind corners": (
        "warning",
        'filter = "long-pass-850"',
        'filter = "band-850-50"',
        'rig.toml: cameras[0].filter = "band-850-50" shifts to shorter wavelengths in the '
        "picture's corners, 31° "
        "off the axis, and dims the 850 nm light of ir850-5mm-17 there; use a long-pass filter "
        "or a "
        "longer lens, or keep the surface out of the corners.",
    ),
    "aim off the surface": (
        "warning",
        'look_at = ["1.2 m", "0.72 m", "0 m"]',
        'look_at = ["1.2 m", "1.6 m", "0 m"]',
        'rig.toml: cameras[0].look_at = ["1.2 m", "1.6 m", "0 m"] meets the wall at x = 1.20 m, '
        "y = 1.60 m, off the surface, which reaches to x = 2.4 m, y = 1.5 m; aim at the surface; "
        'look_at = ["1.2 m", "0.75 m", "0 m"] is the middle.',
    ),
    "cell missing": (
        "warning",
        'cell = "aa-alkaline"\ncells = 2\n',
        "",
        "rig.toml: carried[0].cell is left out, so that neither resistor nor runtime can be told; "
        "name the cell that feeds it.",
    ),
    "stylus of nobody": (
        "warning",
        'person = "grower-ash"\n',
        "",
        "rig.toml: carried[1].person is left out, and grower-wren is taken to hold it; name the "
        "person.",
    ),
    "price of no part": (
        "warning",
        "aa-alkaline = {",
        "aa-alkalin = {",
        "rig.toml: prices.aa-alkalin is not the id of a part of this rig, and counts as something "
        'else bought once; write "aa-alkaline" if that is meant.',
    ),
    "pixels not the display's": (
        "warning",
        "pixels = [1280, 800]",
        "pixels = [1024, 768]",
        "rig.toml: surfaces[0].pixels = [1024, 768] are not the 1280 × 800 that "
        "projector-wxga-short-throw has; use its own, or the picture is rescaled and blurred.",
    ),
    "even light": (
        "note",
        'gradient = "30 %"\n',
        "",
        "rig.toml: ambient.gradient is left out, and the room's light is taken as even; give it "
        'where a window is near, such as "40 %".',
    ),
}


def test_the_example_gives_no_finding(barn):
    assert check(barn).findings == ()


@pytest.mark.parametrize("case", list(WRONG))
def test_a_wrong_rig_gives_one_error_and_no_other(case, sentences):
    old, new, expected = WRONG[case]
    assert sentences(old, new) == [expected]


@pytest.mark.parametrize("case", list(DOUBTFUL))
def test_a_doubtful_rig_is_told_and_passes(case, sentences, barn):
    severity, old, new, expected = DOUBTFUL[case]
    assert sentences(old, new, severity) == [expected]
    assert check(barn).passed


def test_supply_that_dims_before_it_is_spent(edit):
    edit('cell = "aa-alkaline"\ncells = 2', 'cell = "aa-nimh"\ncells = 2')
    folder = edit('part = "ir850-5mm-17"', 'part = "ir850-high"')
    (folder / "own.shelf.toml").write_text(_emitter_file("ir850-high", "850.0", "2.2"), "utf-8")
    assert [str(each) for each in check(folder).findings] == [
        'rig.toml: carried[0].cell = "aa-nimh" falls to 2 V before it is spent (2 × aa-nimh), and '
        "ir850-high goes out below 2.2 V; expect less runtime than its charge says, or use more "
        "cells."
    ]


def test_light_that_gets_too_hot(edit):
    folder = edit('part = "ir850-5mm-17"', 'part = "small"')
    text = _emitter_file("small", "850.0", "1.5").replace("300.0", "24.0")
    (folder / "own.shelf.toml").write_text(text, "utf-8")
    assert [str(each) for each in check(folder).findings] == [
        'rig.toml: carried[0].emitters[0].current = "20 mA" makes 30 mW of heat and light, more '
        "than "
        'the 24 mW that small bears; use "16 mA" or less.'
    ]


@pytest.mark.parametrize(
    ("nanometres", "severity", "code"),
    [("1050.0", "error", "wavelength-outside"), ("980.0", "warning", "wavelength-beyond-data")],
)
def test_wavelength_for_which_cameras_say_little(edit, nanometres, severity, code):
    folder = edit('part = "ir850-5mm-17"', 'part = "far-red"')
    (folder / "own.shelf.toml").write_text(_emitter_file("far-red", nanometres, "1.3"), "utf-8")
    assert [(each.severity, each.code) for each in check(folder).findings] == [(severity, code)]


def test_lens_file_that_is_missing(sentences, barn):
    old = 'frame_rate = "100 Hz"'
    assert sentences(old, f'{old}\nlens = "lens.json"') == [
        f"{barn / 'lens.json'} does not exist; check the path."
    ]


def test_lens_of_another_size_and_camera(edit):
    folder = edit('frame_rate = "100 Hz"', 'frame_rate = "100 Hz"\nlens = "lens.json"')
    lens = LensCalibration(
        camera="attic",
        params=[660.0, 661.0, 320.0, 241.0, -0.1, 0.02, 0.0, 0.0, 0.0],
        cov=[[0.01 * (i == j) for j in range(9)] for i in range(9)],
        size_px=(640, 480),
        view_rms_px=[0.2],
    )
    lens.stamped("measured").write(folder / "lens.json")
    assert [each.code for each in check(folder).findings] == ["lens-of-other-camera"]
    doubtful = lens.model_copy(
        update={"camera": "beam", "verdict": Verdict(vouched=False, reasons=["4 views are used"])}
    )
    doubtful.stamped("measured").write(folder / "lens.json")
    assert [str(each) for each in check(folder).findings] == [
        'rig.toml: cameras[0].lens = "lens.json" is not vouched for: 4 views are used; take '
        "better views and calibrate again."
    ]
    other = lens.model_copy(update={"size_px": (1280, 720)})
    other.stamped("measured").write(folder / "lens.json")
    assert [str(each) for each in check(folder).findings] == [
        'rig.toml: cameras[0].lens = "lens.json" was made on pictures of 1280 × 720, and '
        "vga-global-120 gives 640 × 480; calibrate the lens at the size that the rig uses."
    ]


def test_several_errors_are_told_together(edit):
    edit('tilt = ["10 deg", "40 deg"]', 'tilt = ["40 deg", "10 deg"]')
    folder = edit('filter = "long-pass-850"', 'filter = "none-such"')
    codes = {each.code for each in check(folder).findings}
    assert codes == {"tilt-reversed", "part-unknown"}


def test_a_file_that_cannot_be_read_is_a_finding(tmp_path):
    result = check(tmp_path)
    assert not result.passed
    assert [each.code for each in result.findings] == ["file-missing"]
    assert result.as_dict()["rig"] is None


def _emitter_file(part_id, nanometres, volts):
    return f"""
schema = "rushlight/shelf"
version = 1
[[emitters]]
id = "{part_id}"
name = "made up for a test"
wavelength = {{ value = {nanometres}, unit = "nm", source = "test" }}
half_angle = {{ value = 20.0, unit = "deg", source = "test" }}
intensity = {{ value = 30.0, unit = "mW/sr", source = "test" }}
test_current = {{ value = 50.0, unit = "mA", source = "test" }}
forward_voltage = {{ value = {volts}, unit = "V", source = "test" }}
greatest_current = {{ value = 100.0, unit = "mA", source = "test" }}
greatest_power = {{ value = 300.0, unit = "mW", source = "test" }}
side_share = {{ value = 3.0, unit = "%", source = "test" }}
apparent_size = {{ value = 2.0, unit = "mm", source = "test" }}
"""
