"""What pointers do by fixes and switchings, and what a slow reader is spared."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rushlight.drive.contacts import Contacts, WaitingSteps
from rushlight.drive.output import Display, Step, parse_address
from rushlight.errors import RushlightError


def told(steps):
    return [(step.kind, step.pointer) for step in steps]


def test_display_pixels_have_their_origin_at_the_top_left(display):
    assert display.px(0.0, 1.5) == pytest.approx((0.0, 0.0))
    assert display.px(2.4, 0.0) == pytest.approx((1200.0, 750.0))
    assert display.px(0.6, 1.0) == pytest.approx((300.0, 250.0))


def test_a_picture_survey_is_heeded():
    keystone = np.array([[0.002, 0.0001, 0.1], [0.0, -0.002, 1.6], [0.0, 1e-5, 1.0]])
    display = Display((2.4, 1.5), (1200, 750), "wall", keystone)
    x, y, scale = keystone @ [400.0, 300.0, 1.0]
    assert display.px(x / scale, y / scale) == pytest.approx((400.0, 300.0))


def test_sizes_must_be_above_zero():
    with pytest.raises(ValueError, match="above 0"):
        Display((0.0, 1.5), (1200, 750))


def test_down_move_up_in_order_with_the_place_last_seen(display, make):
    contacts = Contacts(display)
    first = contacts.steps(make.results(0, 0, [make.fix("wren", 7, 0.5, 0.5, 0)]))
    then = contacts.steps(make.results(1, 8, [make.fix("wren", 7, 0.6, 0.5, 8)]))
    last = contacts.steps(make.results(9, 99, [], [make.switched("switch-up", "wren", 7, 8)]))
    assert told(first + then + last) == [("down", 1), ("move", 1), ("up", 1)]
    assert last[0].x_px == pytest.approx(300.0)
    assert last[0].capture_ns == 8
    assert contacts.call_off() == []


def test_steps_carry_the_moments_of_the_frame_by_which_they_are_known(display, make):
    contacts = Contacts(display)
    fix = make.fix("wren", 7, 0.5, 0.5, 10, detect_ns=32, map_ns=34)
    [down] = contacts.steps(make.results(3, 30, [fix]))
    assert (down.capture_ns, down.detect_ns, down.map_ns, down.frame) == (10, 32, 34, 3)
    lifted = make.switched("switch-up", "wren", 7, 10).known(130, 2e-9, 3e-9)
    [up] = contacts.steps(make.results(9, 130, [], [lifted]))
    assert (up.capture_ns, up.detect_ns, up.map_ns, up.frame) == (10, 132, 133, 9)
    contacts.steps(make.results(10, 140, [fix]))
    [off] = contacts.call_off()  # no frame told it
    assert (off.detect_ns, off.map_ns, off.frame) == (-1, -1, -1)


def test_fixes_traced_back_come_as_down_and_moves(display, make):
    fixes = [make.fix("wren", 7, 0.5 + 0.01 * n, 0.5, 8 * n) for n in range(3)]
    steps = Contacts(display).steps(make.results(2, 16, fixes))
    assert told(steps) == [("down", 1), ("move", 1), ("move", 1)]
    assert [step.capture_ns for step in steps] == [0, 8, 16]


def test_places_between_that_were_traced_back_count_as_overtaken(display, make):
    fixes = [make.fix("wren", 7, 0.5 + 0.01 * n, 0.5, 8 * n) for n in range(5)]
    waiting = WaitingSteps()
    waiting.add(Contacts(display).steps(make.results(4, 32, fixes)))
    assert waiting.lost == 3
    assert [(step.kind, step.capture_ns) for step in waiting.take()] == [("down", 0), ("move", 32)]


def test_a_place_that_no_camera_saw_moves_no_pointer(display, make):
    contacts = Contacts(display)
    contacts.steps(make.results(0, 0, [make.fix("wren", 7, 0.5, 0.5, 0)]))
    coasted = make.fix("wren", 7, 0.9, 0.5, 8, predicted=True, cameras=())
    assert contacts.steps(make.results(1, 8, [coasted])) == []
    # Where a camera saw it, a place that was foretold for the display's delay does.
    ahead = make.fix("wren", 7, 0.6, 0.5, 16, predicted=True)
    assert told(contacts.steps(make.results(2, 16, [ahead]))) == [("move", 1)]
    off = make.results(3, 24, [], [make.switched("switch-up", "wren", 7, 16)])
    (up,) = contacts.steps(off)
    assert (up.kind, up.x_px) == ("up", pytest.approx(300.0))
    # What coasts before it was ever seen here presses nothing.
    assert contacts.steps(make.results(4, 32, [coasted])) == []


def test_a_press_under_the_same_trail_comes_down_anew(display, make):
    contacts = Contacts(display)
    steps = []
    for time_ns in (0, 100):
        steps += contacts.steps(make.results(0, time_ns, [make.fix("wren", 7, 0.5, 0.5, time_ns)]))
        up = [make.switched("switch-up", "wren", 7, time_ns)]
        steps += contacts.steps(make.results(1, time_ns + 50, [], up))
    assert told(steps) == [("down", 1), ("up", 1)] * 2


def test_a_lift_and_a_new_press_in_one_frame_are_told_in_that_order(display, make):
    contacts = Contacts(display)
    contacts.steps(make.results(0, 0, [make.fix("wren", 7, 0.5, 0.5, 0)]))
    both = make.results(
        1, 8, [make.fix("wren", 8, 1.5, 0.5, 8)],
        [make.switched("switch-up", "wren", 7, 0), make.switched("switch-down", "wren", 8, 8)],
    )  # fmt: skip
    assert told(contacts.steps(both)) == [("up", 1), ("down", 1)]


def test_a_trail_that_takes_over_without_a_word_lifts_the_pointer_first(display, make):
    contacts = Contacts(display)
    contacts.steps(make.results(0, 0, [make.fix("wren", 7, 0.5, 0.5, 0)]))
    assert told(contacts.steps(make.results(1, 8, [make.fix("wren", 9, 1.0, 0.5, 8)]))) == [
        ("up", 1), ("down", 1)
    ]  # fmt: skip
    assert contacts.steps(make.results(2, 9, [], [make.switched("switch-up", "wren", 7, 0)])) == []


def test_other_surfaces_and_places_in_space_are_no_pointers(display, make):
    elsewhere = make.fix("wren", 1, 0.5, 0.5, 0, surface="floor")
    in_space = make.fix("cap", 2, 0.5, 0.5, 0, dimensions=3, surface=None)
    assert Contacts(display).steps(make.results(0, 0, [elsewhere, in_space])) == []


def test_the_end_calls_off_what_is_down(display, make):
    contacts = Contacts(display)
    contacts.steps(
        make.results(0, 0, [make.fix("wren", 7, 0.5, 0.5, 0), make.fix("lark", 8, 1.0, 0.5, 0)])
    )
    assert told(contacts.call_off()) == [("cancel", 1), ("cancel", 2)]
    assert contacts.steps(make.results(1, 8, [], [make.switched("switch-up", "wren", 7, 0)])) == []


def test_of_places_only_the_newest_waits(display, make):
    waiting = WaitingSteps()
    contacts = Contacts(display)
    for n in range(5):
        fixes = [make.fix("wren", 1, 0.1 * n, 0.5, n), make.fix("lark", 2, 1.0, 0.1 * n, n)]
        waiting.add(contacts.steps(make.results(n, n, fixes)))
    taken = waiting.take()
    assert told(taken) == [("down", 1), ("down", 2), ("move", 1), ("move", 2)]
    assert [step.capture_ns for step in taken] == [0, 0, 4, 4]
    assert waiting.lost == 6
    assert waiting.take() == []


PLAYS = st.lists(st.tuples(st.integers(1, 4), st.booleans(), st.booleans()), max_size=400)


@given(PLAYS, st.integers(1, 40))
def test_whatever_is_given_up_the_reader_ends_in_the_right_state(plays, most):
    waiting = WaitingSteps(most)
    down, seen = {}, {}
    for time_ns, (pointer, change, take) in enumerate(plays):
        lit = pointer in down
        kind = "move" if lit and not change else "up" if lit else "down"
        step = Step(kind, pointer, f"s{pointer}", float(time_ns), 0.0, time_ns)
        if kind == "up":
            del down[pointer]
        else:
            down[pointer] = time_ns
        waiting.add([step])
        assert len(waiting) <= max(most, 8)
        if take or time_ns == len(plays) - 1:
            for each in waiting.take():
                if each.kind in ("up", "cancel"):
                    seen.pop(each.pointer, None)
                    continue
                assert (each.kind == "down") == (each.pointer not in seen)
                seen[each.pointer] = each.capture_ns
            assert seen == down


@pytest.mark.parametrize("text", ["8790", "127.0.0.1", "a:b", "::1:8790", "host:70000", ":80"])
def test_what_is_no_address_is_refused_in_one_sentence(text):
    with pytest.raises(RushlightError, match=r"rig\.toml: drive\.osc = .* is not an address"):
        parse_address(text, "rig.toml: drive.osc")
