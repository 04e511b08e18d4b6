"""What a room may hold, and how a wrong one is told of."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from rushlight.records.quantity import parse_quantity
from rushlight.records.room import Lamp, Window


def window(corner, opposite, **more) -> Window:
    return Window(id="one", corner=corner, opposite=opposite, **more)


@pytest.mark.parametrize("axis", [0, 1, 2])
def test_a_window_lies_flat_in_the_wall_that_its_corners_share(axis) -> None:
    corner, opposite = ["0 m", "0 m", "0 m"], ["1 m", "1.2 m", "90 cm"]
    opposite[axis] = corner[axis]
    assert window(corner, opposite).light == "sun"


@pytest.mark.parametrize("opposite", [["1 m", "1 m", "1 m"], ["0 m", "0 m", "1 m"]])
def test_a_window_with_depth_or_no_breadth_is_refused(opposite) -> None:
    with pytest.raises(ValidationError, match="exactly one coordinate"):
        window(["0 m", "0 m", "0 m"], opposite)


@pytest.mark.parametrize("strength", [{}, {"watts": "8 W", "lumens": "800 lm"}])
def test_a_lamp_is_told_by_one_strength(strength) -> None:
    with pytest.raises(ValidationError, match="exactly one of watts and lumens"):
        Lamp(id="one", kind="led", position=["0 m", "1 m", "1 m"], **strength)


def test_lumens_are_a_unit_of_their_own() -> None:
    assert parse_quantity("800 lm", "luminous flux").value == pytest.approx(800.0)
