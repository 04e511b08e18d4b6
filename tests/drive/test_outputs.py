"""All outputs together: opening, fanning out, ending."""

import io
import json
import socket

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rushlight.drive.lights import Lights
from rushlight.drive.lines import LinesOutput
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


def test_lights_end_in_silence_and_are_put_right_by_what_frames_tell_later(make, display):
    stream = io.StringIO()
    lines = LinesOutput(display, stream)
    wren = make.switched("switch-down", "wren", 4, 0)
    ash = make.switched("switch-down", "ash", 5, 0)
    both = [make.fix("wren", 4, 1.0, 1.0, 0), make.fix("ash", 5, 2.0, 1.0, 0)]
    with Outputs([lines], display) as outputs:
        outputs.put(make.results(0, 7, both, [wren, ash]))
        outputs.call_off()
        outputs.call_off()
        # Wren's press was over, as the next frame knows; ash's light had been on all the while.
        late = make.switched("switch-up", "wren", 4, 0)
        outputs.put(make.results(9, 90, [make.fix("ash", 5, 2.0, 1.0, 90, 9)], [late]))
        outputs.put(make.results(10, 99, [], [make.switched("switch-up", "ash", 5, 90)]))
        outputs.put(make.results(11, 110, [], [make.switched("switch-down", "wren", 6, 110)]))
    told = [
        (line["frame"], event["kind"], event["carried"], event["time_ns"], event["detail"])
        for line in map(json.loads, stream.getvalue().splitlines())
        for event in line["events"]
    ]
    assert told == [
        (0, "switch-down", "wren", 0, ""),
        (0, "switch-down", "ash", 0, ""),
        (None, "switch-up", "wren", 7, "no frames came"),
        (None, "switch-up", "ash", 7, "no frames came"),
        (9, "switch-down", "ash", 90, ""),
        (10, "switch-up", "ash", 90, ""),
        (11, "switch-down", "wren", 110, ""),
        (None, "switch-up", "wren", 110, "the run ended"),
    ]


PLAY = st.lists(
    st.tuples(st.integers(1, 3), st.sampled_from(["down", "fix", "up", "silence"])), max_size=60
)


@given(play=PLAY)
def test_whenever_frames_stay_away_every_light_is_told_on_and_off_in_turn(make, play):
    lights, lit, told = Lights(), set(), {}

    def hear(events):
        for event in events:
            assert (event.kind == "switch-down") == (not told.get(event.trail, False))
            told[event.trail] = event.kind == "switch-down"

    for n, (trail, what) in enumerate(play):
        events, fixes = [], []
        if what == "silence":
            hear(lights.call_off(n, "so"))
            assert not any(told.values())
            continue
        if what == "down" and trail not in lit:
            events.append(make.switched("switch-down", "s", trail, n))
        if what == "up" and trail in lit:
            events.append(make.switched("switch-up", "s", trail, n))
        lit = lit | {trail} if what == "down" else lit - {trail} if what == "up" else lit
        if trail in lit:
            fixes.append(make.fix("s", trail, 0.1, 0.1, n))
        hear(lights.put_right(make.results(n, n, fixes, events)).events)
        assert told.get(trail, False) == (trail in lit)


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
