"""Sizes that only a slip of the pen can mean, each told in one sentence."""

import pytest


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        (
            'stature = "1.66 m"',
            'stature = "166 m"',
            'rig.toml: people[0].stature = "166 m" is taller than anybody; correct the number or '
            "its unit.",
        ),
        (
            'reach = "0.94 m"',
            'reach = "9.4 m"',
            'rig.toml: people[0].reach = "9.4 m" is too long for a stature of 1.66 m; measure '
            "from the shoulder to the tip of the stylus.",
        ),
        (
            'flatness = "3 mm"',
            'flatness = "300 mm"',
            'rig.toml: surfaces[0].flatness = "300 mm" is more than 5 % of the width, and no flat '
            "display; give the root-mean-square departure from the best plane, often some "
            "millimetres.",
        ),
    ],
)
def test_a_slip_of_the_pen_is_told(old, new, expected, sentences):
    assert sentences(old, new) == [expected]


def test_a_surface_larger_than_its_room_is_told(sentences):
    told = sentences('width = "2.4 m"', 'width = "2400 m"')
    assert any("is wider than the room" in each for each in told)
