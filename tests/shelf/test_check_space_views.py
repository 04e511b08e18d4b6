"""Rigs of space whose cameras cannot tell what they should, or whose picture nobody sees."""

import pytest

THEATRE, FERRY, CHOIR = "paper-theatre", "ferry-model", "choir-baton"
RIGHT = 'position = ["0.8 m", "1.3 m", "-1.2 m"]'
CAP_LEFT, CAP_RIGHT = '["-75 mm", "0 mm", "0 mm"]', '["75 mm", "0 mm", "0 mm"]'
ZONE_LOW, ZONE_HIGH = 'low = ["0.05 m", "0.07 m", "0.7 m"]', 'high = ["0.55 m", "0.37 m", "1.4 m"]'
BEHIND = [
    (ZONE_LOW, 'low = ["0.05 m", "0.07 m", "-1.4 m"]'),
    (ZONE_HIGH, 'high = ["0.55 m", "0.37 m", "-0.7 m"]'),
    ('look_at = ["0.3 m", "0.22 m", "1.1 m"]', 'look_at = ["0.3 m", "0.22 m", "-1.1 m"]'),
]
REFUSED = {
    "two cameras in one place": (
        CHOIR,
        [(RIGHT, 'position = ["-0.8 m", "1.3 m", "-1.2 m"]')],
        'rig.toml: cameras = ["left", "right"] see baton along lines that cross at 0° at most, '
        "which does not tell how far it is; move them 1.2 m apart or so, each aimed at the zone.",
    ),
    "two cameras nearly in one place": (
        CHOIR,
        [(RIGHT, 'position = ["-0.799 m", "1.3 m", "-1.2 m"]')],
        'rig.toml: cameras = ["left", "right"] see baton along lines that cross at 0.039° at most, '
        "which does not tell how far it is; move them 1.2 m apart or so, each aimed at the zone.",
    ),
    "a scale bar larger than the view": (
        CHOIR,
        [('"-200 mm"', '"-3 m"'), ('"200 mm"', '"3 m"')],
        'rig.toml: carried[1].emitters = ["near", "far"] span 6.000 m, and two cameras see both '
        "ends nowhere in its zone; take a bar of 1.13 m or less.",
    ),
    "a zone behind the display": (
        THEATRE,
        BEHIND,
        'rig.toml: carried[0].zone = [["0.05 m", "0.07 m", "-1.4 m"], ["0.55 m", "0.37 m", '
        '"-0.7 m"]] lies behind the display stage, whose picture nobody sees from there; let the '
        "zone begin before it, where z is positive, z counting out of the display toward the user.",
    ),
    "a pair a millimetre apart": (
        THEATRE,
        [(CAP_LEFT, '["-0.5 mm", "0 mm", "0 mm"]'), (CAP_RIGHT, '["0.5 mm", "0 mm", "0 mm"]')],
        'rig.toml: carried[0].emitters = ["left", "right"] are seen 1.0 px apart at most, and dots '
        "nearer than 3 px are one; set them 12 mm apart or more.",
    ),
    "two of five lights in one dot, and three left": (
        FERRY,
        [('["-20 mm", "-92 mm", "46 mm"]', '["36 mm", "-60 mm", "37 mm"]')],
        'rig.toml: carried[0].emitters = ["starboard", "stern"] are seen 1.2 px apart at most, and '
        "dots nearer than 3 px are one; set them 10 mm apart or more.",
    ),
    "two cameras that both look away": (
        CHOIR,
        [('look_at = ["0 m", "1.35 m", "0.5 m"]', 'look_at = ["0 m", "1.35 m", "-5 m"]')],
        'rig.toml: cameras[1].look_at = ["0 m", "1.35 m", "-5 m"] leaves all of the zone of baton '
        'out of the picture; aim at its middle, ["0 m", "1.35 m", "0.45 m"].',
    ),
}
WARNED = {
    "cameras near one another": (
        CHOIR,
        [(RIGHT, 'position = ["-0.75 m", "1.3 m", "-1.2 m"]')],
        'rig.toml: cameras = ["left", "right"] see baton along lines that cross at 2° at most, '
        "which tells poorly how far it is; move them 1.2 m apart or so, each aimed at the zone.",
    ),
    "a scale bar seldom seen whole": (
        CHOIR,
        [('"-200 mm"', '"-0.9 m"'), ('"200 mm"', '"0.9 m"')],
        'rig.toml: carried[1].emitters = ["near", "far"] span 1.800 m, and two cameras see both '
        "ends in 4 % of its poses; take a bar of 1.11 m or less.",
    ),
    "a pair in line with the view": (
        THEATRE,
        [(CAP_LEFT, '["0 mm", "0 mm", "-75 mm"]'), (CAP_RIGHT, '["0 mm", "0 mm", "75 mm"]')],
        'rig.toml: carried[0].emitters = ["left", "right"] stand nearly in line with the view: of '
        "150 mm the camera sees 38 mm across, so that a small turn looks like a change of "
        "distance; set them side by side as the camera sees them, or add a second camera from the "
        "side.",
    ),
    "a zone that reaches behind the display": (
        THEATRE,
        [(ZONE_LOW, 'low = ["0.05 m", "0.07 m", "-0.1 m"]')],
        'rig.toml: carried[0].zone = [["0.05 m", "0.07 m", "-0.1 m"], ["0.55 m", "0.37 m", '
        '"1.4 m"]] lies partly behind the display stage, whose picture nobody sees from there; let '
        "the zone begin before it, where z is positive, z counting out of the display toward the "
        "user.",
    ),
}


@pytest.mark.parametrize("case", REFUSED)
def test_what_no_plan_could_mend_is_refused_with_the_reason(changed, case):
    scenario, replacements, sentence = REFUSED[case]
    errors = [str(each) for each in changed(scenario, *replacements) if each.severity == "error"]
    assert sentence in errors


@pytest.mark.parametrize("case", WARNED)
def test_what_is_poor_is_warned_of(changed, case):
    scenario, replacements, sentence = WARNED[case]
    found = changed(scenario, *replacements)
    assert [str(each) for each in found if each.severity == "error"] == []
    assert sentence in [str(each) for each in found if each.severity == "warning"]


def test_a_bar_of_the_proposed_length_passes(changed):
    found = changed(CHOIR, ('"-200 mm"', '"-0.565 m"'), ('"200 mm"', '"0.565 m"'))
    assert [str(each) for each in found if each.severity != "note"] == []


def test_lights_of_the_proposed_spacing_pass(changed):
    found = changed(
        THEATRE, (CAP_LEFT, '["-6 mm", "0 mm", "0 mm"]'), (CAP_RIGHT, '["6 mm", "0 mm", "0 mm"]')
    )
    assert [str(each) for each in found if each.severity == "error"] == []


def test_a_pair_in_line_is_told_apart_by_a_second_camera(changed):
    camera = """[[cameras]]
id = "side"
part = "vga-global-120"
position = ["1.6 m", "0.3 m", "1.1 m"]
look_at = ["0.3 m", "0.22 m", "1.1 m"]
exposure = "auto"
frame_rate = "100 Hz"
filter = "long-pass-850"

[[carried]]
id = "cap"
"""
    in_line = WARNED["a pair in line with the view"][1]
    found = changed(THEATRE, *in_line, ('[[carried]]\nid = "cap"\n', camera))
    assert "pair-in-line" not in {each.code for each in found}
    assert "pair-in-line" in {each.code for each in changed(THEATRE, *in_line)}


def test_a_display_that_stands_turned_has_its_own_front(changed):
    """Turned about the vertical by 180° the display faces the other way, and so must the zone."""
    turned = 'delay = "25 ms"\npose = { position = ["0.6 m", "0 m", "0 m"], turn = "180 deg" }'
    refused = changed(THEATRE, ('delay = "25 ms"', turned))
    assert "zone-behind-display" in {each.code for each in refused}
    allowed = changed(THEATRE, ('delay = "25 ms"', turned), *BEHIND)
    assert "zone-behind-display" not in {each.code for each in allowed}
