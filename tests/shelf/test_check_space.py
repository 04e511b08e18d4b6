"""Wrong rigs of space: each is refused by one sentence that gives the reason."""

from pathlib import Path

import numpy as np
import pytest

from rushlight.physics.geometry.constellation import (
    constellation_shape,
    nearest_twin,
    turned_together,
)
from rushlight.physics.geometry.rotation import matrix_from_rotation_vector

SCENARIOS = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios"


def cut(scenario, first, after):
    """The text of an example from one line to the line before another, to be removed."""
    text = (SCENARIOS / scenario / "rig.toml").read_text("utf-8")
    start = text.index(first)
    return text[start : text.index(after, start)]


@pytest.mark.parametrize("scenario", ["paper-theatre", "ferry-model", "choir-baton"])
def test_the_examples_have_neither_errors_nor_warnings(changed, scenario):
    assert [str(each) for each in changed(scenario) if each.severity != "note"] == []


THEATRE, FERRY, CHOIR = "paper-theatre", "ferry-model", "choir-baton"
WRONG = {
    "matrices for no eye": (
        FERRY,
        [('outputs = ["session", "lines"]', 'outputs = ["session", "views"]')],
        'rig.toml: outputs = "views" is for pictures that follow an eye, and this is no viewpoint '
        'rig; leave it out, or add "viewpoint" to kinds.',
    ),
    "a pointer in space": (
        CHOIR,
        [('outputs = ["session", "lines", "osc"]', 'outputs = ["session", "pointer", "osc"]')],
        "rig.toml: outputs = pointer moves a pointer over a display, and a thing that moves in "
        "space touches none; leave it out, or send places with lines or osc.",
    ),
    "no zone": (
        THEATRE,
        [(cut(THEATRE, "[carried.zone]", "[[people]]"), "")],
        "rig.toml: carried[0].zone is missing, and where cap moves decides what the cameras must "
        "see; add [carried.zone] with low, high, turn, nod and lean.",
    ),
    "viewpoint without a display": (
        THEATRE,
        [(cut(THEATRE, "[[surfaces]]", "# It stands"), "")],
        "rig.toml: surfaces = [] is empty, and a viewpoint rig shows its picture on a display; add "
        "[[surfaces]] with its id, width, height and pixels.",
    ),
    "a cap with one light": (
        THEATRE,
        [(cut(THEATRE, '[[carried.emitters]]\nid = "right"', "# Between"), "")],
        'rig.toml: carried[0].emitters = ["left"] are 1 in all, and solved_as = "pair" takes 2 at '
        "least; add lights, or ask for less in solved_as.",
    ),
    "a right eye on the left": (
        THEATRE,
        [
            (
                'name = "eye"\nposition = ["0 mm"',
                'name = "eye"\nwhich = "right"\nposition = ["-31 mm"',
            )
        ],
        'rig.toml: carried[0].points = "right" is said of an eye 31 mm to the left of the middle '
        "of the lights; count x to the wearer's right, as the display's x, or name the other eye.",
    ),
    "two lights in one place": (
        THEATRE,
        [('["-75 mm",', '["75 mm",')],
        'rig.toml: carried[0].emitters[1].position = "right" stands where left stands, so that '
        "the two are one dot; give each light a place of its own.",
    ),
    "spacing larger than the view": (
        THEATRE,
        [('["-75 mm",', '["-0.8 m",'), ('["75 mm",', '["0.8 m",')],
        'rig.toml: carried[0].emitters = ["left", "right"] span 1.600 m, and at the near end of '
        "the zone the picture holds only 0.649 m; set the lights closer together, or let the zone "
        "begin farther from the camera.",
    ),
    "a camera that looks away": (
        THEATRE,
        [('look_at = ["0.3 m", "0.22 m", "1.1 m"]', 'look_at = ["0.3 m", "0.22 m", "-1.1 m"]')],
        'rig.toml: cameras[0].look_at = ["0.3 m", "0.22 m", "-1.1 m"] leaves all of the zone of '
        'cap out of the picture; aim at its middle, ["0.3 m", "0.22 m", "1.05 m"].',
    ),
    "a camera that looks at itself": (
        THEATRE,
        [('look_at = ["0.3 m", "0.22 m", "1.1 m"]', 'look_at = ["0.3 m", "0.4 m", "0.02 m"]')],
        'rig.toml: cameras[0].look_at = ["0.3 m", "0.4 m", "0.02 m"] is the camera\'s own place; '
        "give a point of the zone, such as its middle.",
    ),
    "collinear lights": (
        FERRY,
        [
            ('["0 mm", "95 mm", "32 mm"]', '["0 mm", "95 mm", "40 mm"]'),
            ('["-38 mm", "25 mm", "40 mm"]', '["0 mm", "25 mm", "40 mm"]'),
            ('["8 mm", "-12 mm", "95 mm"]', '["0 mm", "-12 mm", "40 mm"]'),
            ('["36 mm", "-60 mm", "36 mm"]', '["0 mm", "-60 mm", "40 mm"]'),
            ('["-20 mm", "-92 mm", "46 mm"]', '["0 mm", "-92 mm", "40 mm"]'),
        ],
        'rig.toml: carried[0].emitters = ["bow", "port", "mast", "starboard", "stern"] lie on one '
        "straight line, and a turn about it moves no dot: no pose can be told; move one of them "
        "aside by 66 mm or so.",
    ),
    "symmetric lights": (
        FERRY,
        [
            ('["-38 mm", "25 mm", "40 mm"]', '["-40 mm", "0 mm", "40 mm"]'),
            ('["0 mm", "95 mm", "32 mm"]', '["0 mm", "90 mm", "30 mm"]'),
            ('["8 mm", "-12 mm", "95 mm"]', '["0 mm", "0 mm", "95 mm"]'),
            ('["36 mm", "-60 mm", "36 mm"]', '["40 mm", "0 mm", "40 mm"]'),
            ('["-20 mm", "-92 mm", "46 mm"]', '["0 mm", "-90 mm", "30 mm"]'),
        ],
        'rig.toml: carried[0].emitters = ["bow", "port", "mast", "starboard", "stern"] look the '
        "same within 0.0 mm after a turn of 180°, with stern for bow, starboard for port, port "
        "for starboard, bow for stern; move one light out of the pattern, or give each a code of "
        "its own.",
    ),
    "a body of two lights": (
        FERRY,
        [('solved_as = "pose"', 'solved_as = "pair"')],
        'rig.toml: carried = ["ferry"] hold no thing with four lights or more whose pose is '
        'solved, which a body rig needs; give it four lights and solved_as = "pose".',
    ),
    "one camera for a volume": (
        CHOIR,
        [(cut(CHOIR, '[[cameras]]\nid = "right"', "# The baton's"), "")],
        'rig.toml: cameras = ["left"] is one camera, and a single light\'s distance takes two; add '
        "a second camera that looks at the zone from another side.",
    ),
    "cameras that face apart": (
        CHOIR,
        [
            (
                'position = ["0.8 m", "1.3 m", "-1.2 m"]\nlook_at = ["0 m", "1.35 m", "0.5 m"]',
                'position = ["0.8 m", "1.3 m", "-1.2 m"]\nlook_at = ["4 m", "1.35 m", "0.5 m"]',
            )
        ],
        'rig.toml: cameras = ["left", "right"] face apart: no place of the zone of baton is seen '
        'by two of them; aim them at its middle, ["0 m", "1.35 m", "0.45 m"].',
    ),
    "nothing that moves": (
        CHOIR,
        [('kind = "baton"', 'kind = "scale-bar"')],
        "rig.toml: carried holds nothing that is followed in space; add a baton with a light at "
        "its tip.",
    ),
}


@pytest.mark.parametrize("case", WRONG)
def test_a_wrong_rig_is_refused_with_the_reason(changed, case):
    scenario, replacements, sentence = WRONG[case]
    errors = [str(each) for each in changed(scenario, *replacements) if each.severity == "error"]
    assert sentence in errors


DOUBTFUL = {
    "no scale bar": (
        CHOIR,
        [(cut(CHOIR, "# A rod with a light", "[[people]]"), "")],
        "rig.toml: carried hold no scale bar, so that nothing but the mounting tells the scale; "
        'add one with kind = "scale-bar" and two lights a measured length apart.',
    ),
    "no eye": (
        THEATRE,
        [(cut(THEATRE, "[[carried.points]]", "[carried.zone]"), "")],
        "rig.toml: carried[0].points name no eye, and the middle of the lights is taken for it; "
        'add [[carried.points]] with name = "eye", its position and its std.',
    ),
    "flat lights": (
        FERRY,
        [('["8 mm", "-12 mm", "95 mm"]', '["8 mm", "-12 mm", "40 mm"]')],
        'rig.toml: carried[0].emitters = ["bow", "port", "mast", "starboard", "stern"] lie within '
        "1.2 mm of one plane, and tilted to either side they look nearly alike; raise one of them "
        "by 35 mm or so.",
    ),
    "three lights": (
        THEATRE,
        [
            ('solved_as = "pair"', 'solved_as = "pose"'),
            (
                "# Between the eyes",
                '[[carried.emitters]]\nid = "top"\npart = "ir850-5mm-60"\nposition = ["0 mm", '
                '"60 mm", "40 mm"]\ncurrent = "20 mA"\ndrive = "steady"\n\n# Between the eyes',
            ),
        ],
        'rig.toml: carried[0].emitters = ["left", "right", "top"] are three, and three dots fit up '
        "to four poses; the range of facing must settle which; add a fourth light out of their "
        "plane.",
    ),
}


@pytest.mark.parametrize("case", DOUBTFUL)
def test_a_doubtful_rig_is_warned_of(changed, case):
    scenario, replacements, sentence = DOUBTFUL[case]
    found = changed(scenario, *replacements)
    assert [str(each) for each in found if each.severity == "error"] == []
    assert sentence in [str(each) for each in found if each.severity == "warning"]


def test_symmetric_lights_that_facing_tells_apart_are_no_error(changed):
    replacements = [*WRONG["symmetric lights"][1], ('lean = "180 deg"', 'lean = "20 deg"')]
    assert [e.code for e in changed(FERRY, *replacements) if e.severity == "error"] == []


def test_symmetric_lights_that_blink_their_names_are_no_error(changed):
    steady = 'drive = "steady"\n'
    codes = iter(["11110000", "11001010", "11101000", "10110100", "11011000"])
    text = (SCENARIOS / FERRY / "rig.toml").read_text("utf-8")
    whole = text
    for _ in range(whole.count(steady)):
        whole = whole.replace(
            steady,
            f'drive = "coded"\ncode = "{next(codes)}"\ncode_bit = "40 ms"\nduty = "50 %"\n',
            1,
        )
    found = changed(FERRY, (text, whole), *WRONG["symmetric lights"][1])
    assert "lights-symmetric" not in {each.code for each in found}


def test_shape_of_lights_against_numpy():
    lights = np.random.default_rng(1).normal(size=(7, 3)) * [3.0, 2.0, 0.5]
    shape = constellation_shape(lights)
    spread = np.sqrt(np.linalg.eigvalsh(np.cov(lights.T, bias=True)))
    np.testing.assert_allclose(shape.depth_m, spread[0])
    np.testing.assert_allclose(shape.width_m, np.hypot(*spread[:2]))
    np.testing.assert_allclose(shape.size_m, np.linalg.norm(spread))


def test_turning_points_together_finds_the_turn_against_scipy():
    from scipy.spatial.transform import Rotation

    rng = np.random.default_rng(2)
    start = rng.normal(size=(5, 3))
    end = start @ matrix_from_rotation_vector([0.4, -1.0, 2.0]).T + [1.0, 2.0, 3.0]
    end = end + 0.1 * rng.normal(size=end.shape)
    rotation, misfit = turned_together(start, end)
    expected, rssd = Rotation.align_vectors(end - end.mean(0), start - start.mean(0))
    np.testing.assert_allclose(rotation, expected.as_matrix(), atol=1e-7)
    np.testing.assert_allclose(misfit, rssd / np.sqrt(5), rtol=1e-6)


def test_twins_of_a_tetrahedron_are_its_twelve_turns():
    corners = np.array([[1, 1, 1], [1, -1, -1], [-1, 1, -1], [-1, -1, 1.0]])
    twin = nearest_twin(corners)
    assert twin.misfit_m == pytest.approx(0.0, abs=1e-12)
    assert twin.angle_rad == pytest.approx(2 * np.pi / 3)
    assert nearest_twin(corners, 2.0) is None
    with pytest.raises(ValueError, match=r"L >= 3"):
        nearest_twin(corners[:2])


def second_thing(scenario, first, after, name, *changes):
    """A second thing like an example's first one but for its id and what is changed of it."""
    block = cut(scenario, first, after)
    second = block.replace(f'id = "{name}"', 'id = "second"', 1)
    for old, new in changes:
        assert old in second, f"the example no longer holds {old!r}"
        second = second.replace(old, new)
    return block, block + second


BATON = (CHOIR, '[[carried]]\nid = "baton"', "# A rod with a light", "baton")
CAP = (THEATRE, '[[carried]]\nid = "cap"', "[[people]]", "cap")
BODY = (FERRY, '[[carried]]\nid = "ferry"', "[[people]]", "ferry")
CODED = 'drive = "coded"\ncode = "{}"\ncode_bit = "50 ms"\nduty = "50 %"'
ALIKE = [
    (BATON, ()),
    # The zones' spare margins still meet.
    (BATON, [('low = ["-0.5 m",', 'low = ["0.6 m",'), ('high = ["0.5 m",', 'high = ["1.1 m",')]),
    (BATON, [('position = ["0 mm", "0 mm", "0 mm"]', 'position = ["0 mm", "0 mm", "9 mm"]')]),
    (CAP, ()),
    # Before one camera a wide cap looks like a narrow one that is nearer.
    (CAP, [('["-75 mm",', '["-90 mm",'), ('["75 mm",', '["90 mm",')]),
    (BODY, ()),
    (BODY, [('["0 mm", "95 mm", "32 mm"]', '["0 mm", "97 mm", "32 mm"]')]),
]
DIFFERENT = [
    (BATON, [('low = ["-0.5 m",', 'low = ["1 m",'), ('high = ["0.5 m",', 'high = ["1.5 m",')]),
    (BATON, [('drive = "steady"', CODED.format("11101000"))]),
    (CAP, [('["-75 mm",', '["-300 mm",'), ('["75 mm",', '["300 mm",')]),
    (BODY, [('["-38 mm", "25 mm", "40 mm"]', '["-70 mm", "60 mm", "10 mm"]')]),
]


def things_alike(changed, thing, changes):
    whole = second_thing(*thing, *changes)
    return [each for each in changed(thing[0], whole) if each.code == "things-alike"]


@pytest.mark.parametrize("case", range(len(ALIKE)))
def test_things_that_look_alike_are_warned_of_by_name(changed, case):
    thing, changes = ALIKE[case]
    [finding] = things_alike(changed, thing, changes)
    assert finding.severity == "warning"
    assert f'["{thing[3]}", "second"] look alike' in str(finding)


@pytest.mark.parametrize("case", range(len(DIFFERENT)))
def test_things_that_something_tells_apart_are_not_warned_of(changed, case):
    assert things_alike(changed, *DIFFERENT[case]) == []


def test_the_warning_names_things_and_remedies(changed):
    [finding] = things_alike(changed, BATON, ())
    assert str(finding) == (
        'rig.toml: carried[1].emitters = ["baton", "second"] look alike: a single light each, no '
        "codes that differ, and the same zone, so that one may be taken for the other; give their "
        "lights codes that differ, or each thing a light more in another pattern, or keep their "
        "zones farther apart."
    )


@pytest.mark.parametrize(("code", "count"), [("11101000", 1), ("11110010", 0)])
def test_things_of_one_code_look_alike_and_of_different_codes_do_not(changed, code, count):
    first = ('drive = "steady"', CODED.format("11101000"))
    block, whole = second_thing(*BATON, ('drive = "steady"', CODED.format(code)))
    found = changed(CHOIR, (block, whole.replace(*first, 1)))
    assert sum(each.code == "things-alike" for each in found) == count
