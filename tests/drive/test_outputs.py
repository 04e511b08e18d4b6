"""All outputs together: opening, fanning out, ending."""

import io
import json
import socket

import pytest

from rushlight.drive.outputs import Outputs, open_outputs
from rushlight.errors import RushlightError
from rushlight.records.rig import Drive, Rig


class Noted:
    """An output that keeps what it was given."""

    sent = lost = 0

    def __init__(self, name, sent_ns):
        self.name, self.sent_ns, self.steps, self.closed, self.findings = name, sent_ns, [], 0, []

    def put(self, results, steps):
        self.steps += steps
        return self.sent_ns

    def close(self):
        self.closed += 1


def test_times_are_told_for_those_that_sent(display, make):
    outputs = Outputs([Noted("near", 5), Noted("threaded", -1)], display)
    assert outputs.put(make.results(2, 0, [make.fix("wren", 1, 0.5, 0.5, 0)])) == {"near": 5}
    outputs.departures.left("threaded", [1, 2, 2, -1], 7)  # as from its thread
    told = [(each.output, each.frame, each.sent_ns) for each in outputs.departures.take()]
    assert told == [("near", 2, 5), ("threaded", 1, 7), ("threaded", 2, 7)]
    assert outputs.departures.take() == []


def test_the_end_calls_off_and_closes_once(display, make):
    noted = Noted("near", 5)
    with Outputs([noted], display) as outputs:
        outputs.put(make.results(0, 0, [make.fix("wren", 1, 0.5, 0.5, 0)]))
    outputs.close()
    assert [step.kind for step in noted.steps] == ["down", "cancel"]
    assert noted.closed == 1


def test_names_of_the_rig_open_what_they_say(display, make):
    stream = io.StringIO()
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as listener:
        listener.bind(("127.0.0.1", 0))
        drive = Drive(osc=f"127.0.0.1:{listener.getsockname()[1]}")
        names = ["session", "osc", "lines", "osc"]
        with open_outputs(names, display, drive, stream=stream) as outputs:
            sent = outputs.put(make.results(0, 0, [make.fix("wren", 1, 0.5, 0.5, 0)]))
        listener.settimeout(5.0)
        assert listener.recv(65535).startswith(b"#bundle\0")
    assert list(sent) == ["osc"]
    assert json.loads(stream.getvalue().splitlines()[0])["fixes"][0]["carried"] == "wren"
    assert outputs.tally["lines"] == (1, 0)
    assert outputs.tally["osc"][1] == 0


def test_every_name_that_a_rig_may_give_is_known():
    allowed = set(Rig.model_fields["outputs"].annotation.__args__[0].__args__)
    with pytest.raises(RushlightError) as refused:
        open_outputs(["smoke"], None)
    told = str(refused.value)
    assert all(name in told for name in allowed - {"session"})


def test_what_was_opened_is_closed_when_another_cannot_be(display):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        drive = Drive(pointer=f"127.0.0.1:{taken.getsockname()[1]}")
        stream = io.StringIO()
        with pytest.raises(RushlightError, match="cannot be served on"):
            open_outputs(["lines", "pointer"], display, drive, stream=stream)


def test_nothing_switched_on_is_nothing_done(display, make):
    with open_outputs(["session"], display) as outputs:
        assert outputs.put(make.results(0, 0)) == {}


def test_what_is_down_is_called_off_in_silence_and_comes_down_anew(make, display):
    class Kept:
        name, sent, lost = "kept", 0, 0

        def __init__(self):
            self.steps, self.findings = [], []

        def put(self, results, steps):
            self.steps += steps
            return -1

        def close(self):
            pass

    kept = Kept()
    with Outputs([kept], display) as outputs:
        outputs.put(make.results(0, 0, [make.fix("wren", 4, 1.0, 1.0, 0)]))
        outputs.call_off()
        outputs.call_off()
        outputs.put(make.results(1, 10, [make.fix("wren", 4, 1.0, 1.0, 10, 1)]))
    assert [step.kind for step in kept.steps] == ["down", "cancel", "down", "cancel"]
