"""Our bundles as another library reads them, time tag included.

SOURCE: oscpy 0.6.0 (oscpy.parser), against bundles that we write with python-osc.

Tolerances: values travel as 32-bit floats, whose last digit is 6e-8 of the value; the time tag's
last digit is 2⁻³² s, and a double of seconds since 1900 holds 0.5 µs.
"""

import math
import struct

import numpy as np
import pytest

from rushlight.drive.osc import bundle
from rushlight.drive.output import Display, Results
from rushlight.records.session import Event, Fix

oscpy_parser = pytest.importorskip("oscpy.parser")

CAPTURE_UNIX_S = 1_800_000_000.25
SECONDS_1900_TO_1970 = 2_208_988_800
"""RFC 868: the difference of the two epochs."""


@pytest.fixture
def packet():
    fix = Fix(
        capture_ns=0, valid_ns=0, detect_ns=0, map_ns=0, sent_ns=-1, frame=41,
        carried="stylus-wren", point="tip", trail=7, dimensions=2, surface="wall", switch=True,
        cameras=("beam",), predicted=False, hypotheses=(1.0,),
        position_m=np.array([0.6, 1.0, np.nan]),
    )  # fmt: skip
    down = Event(0, "switch-down", "stylus-wren", 7, 39).known(17_000_000, 2e-3, 3e-3)
    results = Results(41, 0, [fix], [down])
    return bundle(results, Display((2.4, 1.5), (1200, 750), "wall"), CAPTURE_UNIX_S)


def test_messages_and_values(packet):
    told = [message[:3] for message in oscpy_parser.read_packet(packet)]
    assert [address for address, *_ in told] == [
        b"/rushlight/frame",
        b"/rushlight/delay",
        b"/rushlight/down/stylus-wren",
        b"/rushlight/spot/stylus-wren",
    ]
    assert told[0][2] == [41, 1]
    assert (bytes(told[1][1]), told[1][2][:2]) == (b"fff", [0.0, 0.0])
    assert math.isnan(told[1][2][2])
    assert bytes(told[2][1]) == b"iffff"
    assert told[2][2][:4] == pytest.approx([7, 17.0, 19.0, 20.0])
    trail, x, y, x_px, y_px, std_m, seen = told[3][2]
    assert bytes(told[3][1]) == b"ifffffi"
    assert (trail, seen) == (7, 1)
    assert (x, y, x_px, y_px) == pytest.approx((0.6, 1.0, 300.0, 250.0), rel=1e-7)
    assert math.isnan(std_m)


def test_the_time_tag_is_the_moment_of_capture(packet):
    assert packet[:8] == b"#bundle\0"
    whole, part = struct.unpack(">II", packet[8:16])
    since_1970_s = whole - SECONDS_1900_TO_1970 + part / 2**32
    assert since_1970_s == pytest.approx(CAPTURE_UNIX_S, abs=1e-6)
    read, _ = oscpy_parser.read_bundle(packet)
    assert read == pytest.approx(CAPTURE_UNIX_S, abs=1e-6)
