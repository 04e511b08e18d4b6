"""Which trail is which thing: by last place, by home, by who else is lit."""

import numpy as np
import pytest

from rushlight.records.session import ShownGoal
from rushlight.track.identity import Identity, marks_of

LEFT, RIGHT = np.array([0.5, 0.8]), np.array([2.0, 0.8])


def test_without_places_the_first_free_thing_is_taken():
    identity = Identity(["wren", "ash"], None, reach=1.0)
    first = identity.name(0, 0, LEFT)
    assert (first.carried, first.confidence) == ("wren", 0.5)
    identity.seen(0, 0, LEFT)
    second = identity.name(1, 0, RIGHT)
    assert (second.carried, second.confidence) == ("ash", 1.0)
    identity.seen(1, 0, RIGHT)
    third = identity.name(2, 0, RIGHT)
    assert (third.carried, third.confidence) == (None, 0.0)


def test_homes_decide_the_first_press():
    identity = Identity(["wren", "ash"], [LEFT, RIGHT], reach=1.2)
    assert identity.name(0, 0, RIGHT - 0.3).carried == "ash"
    assert identity.name(1, 0, LEFT + 0.1).carried == "wren"


@pytest.mark.parametrize("homes", [None, [LEFT, RIGHT]])
def test_a_thing_lifted_for_a_moment_is_known_again_by_its_last_place(homes):
    identity = Identity(["wren", "ash"], homes, reach=1.2)
    for trail, place in enumerate((LEFT, RIGHT)):
        identity.name(trail, 0, place)
        identity.seen(trail, 0, place)
    identity.seen(1, 10, LEFT + 0.4)  # ash wandered to the left while lit
    identity.ended(0)
    identity.ended(1)
    again = identity.name(2, 20, LEFT + 0.35)
    assert again.carried == "ash"
    assert 0.5 < again.confidence < 1.0


@pytest.mark.parametrize(("dark_s", "expected"), [(0.1, "ash"), (2.0, "wren")])
def test_a_hand_long_in_the_dark_is_expected_at_home(dark_s, expected):
    identity = Identity(["wren", "ash"], [LEFT, RIGHT], reach=1.2)
    for trail, start in enumerate((LEFT, RIGHT)):
        identity.name(trail, 0, start)
        identity.seen(trail, 0, start)
    for trail, end in enumerate((RIGHT, LEFT)):  # they cross while lit
        identity.seen(trail, 0, end)
        identity.ended(trail)
    assert identity.name(2, round(dark_s * 1e9), LEFT).carried == expected


def test_who_is_asked_to_press_there_is_taken_to_press_there():
    goals = [
        ShownGoal(
            carried=name,
            block="grid",
            trial=0,
            place_m=(float(place[0]), float(place[1])),
            from_ns=10**9,
            until_ns=2 * 10**9,
        )
        for name, place in (("wren", RIGHT), ("ash", LEFT))
    ]
    identity = Identity(["wren", "ash"], [LEFT, RIGHT], 1.2, marks_of(goals))
    assert identity.name(0, 980_000_000, RIGHT + 0.01).carried == "wren"
    identity.ended(0)
    assert identity.name(1, 3 * 10**9, RIGHT + 0.01).carried == "ash"


def test_what_is_lit_elsewhere_at_the_same_time_is_another_thing():
    identity = Identity(["wren", "ash"], [LEFT, RIGHT], reach=1.2)
    identity.name(0, 0, LEFT)
    identity.seen(0, 50, LEFT)
    named = identity.name(1, 50, LEFT + 0.1)
    assert (named.carried, named.replaces) == ("ash", None)


def test_a_new_trail_takes_the_name_of_one_that_went_dark_before():
    identity = Identity(["wren"], [LEFT], reach=1.2)
    identity.name(0, 0, LEFT)
    identity.seen(0, 50, LEFT)
    named = identity.name(1, 60, LEFT + 0.3)
    assert (named.carried, named.confidence, named.replaces) == ("wren", 1.0, 0)
    identity.ended(0)  # the old trail no longer holds the name
    identity.seen(1, 70, LEFT)
    assert identity.name(2, 70, LEFT).carried is None


def test_far_from_every_known_place_it_is_sooner_who_was_never_seen():
    identity = Identity(["wren", "ash"], None, reach=1.0)
    identity.name(0, 0, LEFT)
    identity.seen(0, 0, LEFT)
    identity.ended(0)
    assert identity.name(1, 10, RIGHT).carried == "ash"
    assert identity.name(2, 10, LEFT).carried == "wren"


@pytest.mark.parametrize("place", [LEFT, np.full(2, np.nan)])
def test_a_place_beyond_the_map_names_all_the_same(place):
    identity = Identity(["wren", "ash"], [LEFT, RIGHT], reach=1.0)
    named = identity.name(0, 0, place)
    assert named.carried == "wren"
    assert 0.0 < named.confidence <= 1.0


def test_ending_or_seeing_a_nameless_trail_changes_nothing():
    identity = Identity([], None, reach=1.0)
    assert identity.name(0, 0, LEFT).carried is None
    identity.seen(0, 1, LEFT)
    identity.ended(0)


def test_only_a_code_names_a_coded_thing():
    identity = Identity(["wren", "ash"], [LEFT, RIGHT], reach=1.2, coded=["wren"])
    assert identity.name(0, 0, LEFT).carried == "ash"
    assert identity.name(1, 0, LEFT).carried is None
    claimed = identity.claim(1, "wren", 0.9995)
    assert (claimed.carried, claimed.confidence, claimed.replaces) == ("wren", 0.9995, None)


def test_a_claim_takes_the_name_from_another_trail_and_frees_its_own():
    identity = Identity(["wren", "ash"], None, reach=1.2, coded=["wren", "ash"])
    identity.claim(0, "wren", 1.0)
    identity.claim(1, "ash", 1.0)
    assert identity.claim(0, "ash", 1.0).replaces == 1  # the trails changed lights
    assert identity.claim(1, "wren", 1.0).replaces is None
    assert identity.claim(1, "wren", 1.0).replaces is None
    identity.ended(0)
    assert identity.claim(2, "ash", 1.0).replaces is None
