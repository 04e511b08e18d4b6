"""The order of input events for two contacts that come, move and go.

SOURCE: Linux kernel 6.1 (Debian linux-doc-6.1, 6.1.192-2),
Documentation/input/multi-touch-protocol.rst, section "Protocol Example B".

The document's ids 45 and 46 stand for any that were not used before; ours count from 1. Beside
the protocol's own events our packets hold BTN_TOUCH and the single pointer's axes, which the
document mentions and its example leaves out: they are taken out before comparing.
"""

import pytest

from rushlight.drive import touch
from rushlight.drive.output import Display, Step
from rushlight.drive.touch import TouchPackets

NAMES = {
    touch.ABS_MT_SLOT: "ABS_MT_SLOT",
    touch.ABS_MT_TRACKING_ID: "ABS_MT_TRACKING_ID",
    touch.ABS_MT_POSITION_X: "ABS_MT_POSITION_X",
    touch.ABS_MT_POSITION_Y: "ABS_MT_POSITION_Y",
}
IDS = {1: 45, 2: 46, -1: -1}
X, Y = (4800, 9600), (3000, 6000)


def step(kind, pointer, x, y):
    return Step(kind, pointer, "s", x / 20.0, y / 20.0, 0)


def told(packets):
    """Lines as the document prints them."""
    lines = []
    for kind, code, value in [event for packet in packets for event in packet]:
        if kind == touch.EV_SYN:
            lines.append("SYN_REPORT")
        elif code == touch.ABS_MT_TRACKING_ID:
            lines.append(f"ABS_MT_TRACKING_ID {IDS[value]}")
        elif code in NAMES:
            lines.append(f"{NAMES[code]} {value}")
    return lines


@pytest.fixture
def packets():
    return TouchPackets(Display((2.4, 1.5), (1200, 750)))


def test_example_b(packets):
    # The document's first packet chooses slot 0 aloud; slot 0 is current from the start, and the
    # document itself leaves out the choice of a slot that is current ("so the ABS_MT_SLOT is
    # omitted"), so we do too.
    assert told(packets.packets([step("down", 1, X[0], Y[0]), step("down", 2, X[1], Y[1])])) == [
        "ABS_MT_TRACKING_ID 45",
        f"ABS_MT_POSITION_X {X[0]}",
        f"ABS_MT_POSITION_Y {Y[0]}",
        "ABS_MT_SLOT 1",
        "ABS_MT_TRACKING_ID 46",
        f"ABS_MT_POSITION_X {X[1]}",
        f"ABS_MT_POSITION_Y {Y[1]}",
        "SYN_REPORT",
    ]
    assert told(packets.packets([step("move", 1, X[0] + 20, Y[0])])) == [
        "ABS_MT_SLOT 0",
        f"ABS_MT_POSITION_X {X[0] + 20}",
        "SYN_REPORT",
    ]
    assert told(packets.packets([step("up", 1, X[0] + 20, Y[0])])) == [
        "ABS_MT_TRACKING_ID -1",
        "SYN_REPORT",
    ]
    assert told(packets.packets([step("up", 2, X[1], Y[1])])) == [
        "ABS_MT_SLOT 1",
        "ABS_MT_TRACKING_ID -1",
        "SYN_REPORT",
    ]
