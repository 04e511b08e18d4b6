"""The worst delay is that of a moment, and its words say so."""

from __future__ import annotations

from rushlight.publish import expectations, space_expectations


def test_no_stage_is_said_to_be_at_its_slowest():
    asked = [*expectations._HEADLINES, *space_expectations._OF_THE_RIG]
    told = [each.means for each in asked if (each.name, each.statistic) == ("delay", "max")]
    assert told == ["at the slowest moment; where it is predicted, with typical parts"] * 2
