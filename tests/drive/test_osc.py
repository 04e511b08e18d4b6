"""Open Sound Control, read back by the writing library's own receiver."""

import socket
import threading
import time

import numpy as np
import pytest

from rushlight.drive.osc import OscOutput, address_part, bundle
from rushlight.errors import RushlightError

MS = 1_000_000


@pytest.fixture
def frame(make):
    capture_ns = time.monotonic_ns() - 9 * MS
    cov = np.full((6, 6), np.nan)
    cov[:2, :2] = np.diag([9e-6, 16e-6])
    fixes = [
        make.fix("stylus-wren", 7, 0.6, 1.0, 0, cov=cov),
        make.fix("cap", 8, 0.1, 0.2, 0, dimensions=3, surface=None, point="eye",
                 position_m=np.array([0.1, 0.2, 0.3]), predicted=True),
        make.fix("ferry", 9, 0.1, 0.2, capture_ns, dimensions=6, surface=None,
                 detect_ns=capture_ns + 2 * MS, map_ns=capture_ns + 5 * MS,
                 position_m=np.array([0.1, 0.2, 0.3]), quaternion=np.array([1.0, 0, 0, 0])),
    ]  # fmt: skip
    events = [
        make.switched("switch-down", "stylus-wren", 7, capture_ns - 25 * MS).known(
            capture_ns, 2e-3, 5e-3
        ),
        make.switched("switch-up", "stylus-lark", 3, 0),
        make.switched("found", None, 4, 0),
    ]
    return make.results(41, capture_ns, fixes, events)


def test_a_server_of_the_writing_library_reads_it(display, frame):
    from pythonosc.dispatcher import Dispatcher
    from pythonosc.osc_server import BlockingOSCUDPServer

    heard = []
    dispatcher = Dispatcher()
    dispatcher.set_default_handler(lambda address, *values: heard.append((address, *values)))
    with BlockingOSCUDPServer(("127.0.0.1", 0), dispatcher) as server:
        reading = threading.Thread(target=server.handle_request)
        reading.start()
        output = OscOutput(display, f"127.0.0.1:{server.server_address[1]}")
        before_ns = time.monotonic_ns()
        assert output.put(frame, []) >= before_ns
        reading.join(10.0)
    output.close()
    told = {address: values for address, *values in heard}
    assert told["/rushlight/frame"] == [41, 3]
    to_dots, to_fixes, to_sending = told["/rushlight/delay"]
    assert (to_dots, to_fixes) == pytest.approx((2.0, 5.0))
    assert to_sending >= 9.0
    trail, known, dots, fixes, sent = told["/rushlight/down/stylus-wren"]
    assert (trail, known, dots, fixes) == pytest.approx((7, 25.0, 27.0, 30.0))
    assert sent == pytest.approx(to_sending + 25.0, abs=1e-3)
    trail, *unknown = told["/rushlight/up/stylus-lark"]
    assert (trail, len(unknown)) == (3, 4) and np.isnan(unknown[:3]).all()
    spot = told["/rushlight/spot/stylus-wren"]
    # Numbers travel as 32-bit floats: seven digits.
    assert spot == pytest.approx([7, 0.6, 1.0, 300.0, 250.0, np.sqrt(12.5e-6), 1], rel=1e-6)
    assert told["/rushlight/point/cap/eye"] == pytest.approx([8, 0.1, 0.2, 0.3, 0], rel=1e-6)
    assert told["/rushlight/pose/ferry"] == pytest.approx(
        [9, 0.1, 0.2, 0.3, 1.0, 0.0, 0.0, 0.0, 1], rel=1e-6
    )
    assert len(heard) == 7


def test_nobody_listening_is_no_trouble(display, frame):
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        asked.bind(("127.0.0.1", 0))
        port = asked.getsockname()[1]
    output = OscOutput(display, f"127.0.0.1:{port}")
    for _ in range(5):
        output.put(frame, [])
    output.close()
    assert (output.sent, output.lost, output.findings) == (5, 0, [])


def test_a_frame_too_large_for_a_datagram_is_counted_and_told_once(display, make):
    output = OscOutput(display, "127.0.0.1:9")
    fixes = [make.fix(f"s{n}", n, 0.5, 0.5, 0) for n in range(1500)]
    for n in range(2):
        assert output.put(make.results(n, n, fixes), []) == -1
    output.close()
    assert output.lost == 2
    assert [finding.code for finding in output.findings] == ["osc-lost"]


def test_a_host_that_is_not_known_is_told_in_one_sentence(display):
    with pytest.raises(RushlightError, match=r"rig\.toml: drive\.osc = .* is not known here"):
        OscOutput(display, "no such host:9000")


def test_names_keep_out_of_the_formats_own_signs():
    assert address_part("a/b c*[d]{e}#?,ü") == "a_b_c__d__e_____"
    assert address_part("stylus-wren") == "stylus-wren"


def test_a_recordings_time_is_no_time_of_day(display, frame):
    assert bundle(frame, display, None)[8:16] == bytes([0, 0, 0, 0, 0, 0, 0, 1])
