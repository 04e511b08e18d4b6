"""What waits, what is merged and what is never lost on the way from the work to a page."""

import json
import math
import socket

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rushlight.bench.live.pages import (
    MOST_FRAMES,
    MOST_WORDS,
    Listener,
    Looker,
    see_message,
    see_parts,
)
from rushlight.bench.live.view import WIDEST_PX, jpeg_of
from rushlight.bench.live.wire import MOST_SWITCHES, Outbox, Splitter, packed, plain
from rushlight.drive.output import Step
from rushlight.errors import Finding

SCALAR = st.one_of(st.none(), st.booleans(), st.integers(-9, 9), st.text(max_size=5))


def step(kind, x, pointer=1):
    return Step(kind, pointer, "stylus-wren", float(x), 2.0, 3_000_000, 4_000_000, 5_000_000)


def read(from_, splitter):
    got = []
    from_.setblocking(False)
    try:
        while chunk := from_.recv(1 << 16):
            got += splitter.feed(chunk)
    except BlockingIOError:
        pass
    return [(json.loads(text), more) for text, more in got]


@given(
    st.lists(st.tuples(st.dictionaries(st.text(), SCALAR), st.binary(max_size=99)), max_size=5),
    st.integers(1, 40),
)
def test_messages_come_out_as_they_went_in_however_they_are_cut(messages, length):
    stream = b"".join(packed(body, more) for body, more in messages)
    splitter, got = Splitter(), []
    for start in range(0, len(stream), length):
        got += splitter.feed(stream[start : start + length])
    assert [(json.loads(text), more) for text, more in got] == messages


def test_a_stream_that_makes_no_sense_is_refused():
    with pytest.raises(ValueError, match="at most"):
        Splitter().feed(b"\xff" * 8)


def test_what_is_no_number_becomes_null_and_findings_become_objects():
    finding = Finding("note", "slug", "here", "", "is so", "")
    told = plain({"a": math.nan, "b": np.array([1.0, math.inf]), "c": (finding,)})
    assert told["a"] is None and told["b"] == [1.0, None]
    assert told["c"][0]["code"] == "slug"


def test_a_reader_that_sleeps_gets_the_newest_and_every_press():
    ours, theirs = socket.socketpair()
    outbox = Outbox(ours)
    for number in range(400):
        outbox.newest("picture", {"is": "picture", "frame": number}, bytes(20_000))
        kind = "down" if number == 0 else "up" if number == 399 else "move"
        outbox.moved([step(kind, number)], [["stylus-wren", 1.0, 2.0, True]], [], number, number)
    outbox.say({"is": "done"})
    splitter, got = Splitter(), []
    for _ in range(20):
        got += read(theirs, splitter)
        outbox.newest("state", {"is": "state"})
    pictures = [body["frame"] for body, _ in got if body["is"] == "picture"]
    kinds = [row[2] for body, _ in got if body["is"] == "frame" for row in body["steps"]]
    assert len(pictures) < 100 and pictures[-1] == 399
    assert kinds[0] == "down" and kinds[-1] == "up" and outbox.lost > 100
    assert any(body["is"] == "done" for body, _ in got)
    ours.close()
    theirs.close()


def test_an_outbox_without_a_reader_neither_waits_nor_fails():
    ours, theirs = socket.socketpair()
    theirs.close()
    outbox = Outbox(ours)
    for _ in range(10):
        outbox.say({"is": "state"})
    outbox.close()
    ours.close()


def frame_text(number, kind="move", switches=()):
    outbox_side, reading = socket.socketpair()
    outbox = Outbox(outbox_side)
    outbox.moved([step(kind, number)], [["stylus-wren", number, 0.0, True]], switches, number, 7)
    (body, _), *_ = read(reading, Splitter())
    outbox_side.close()
    reading.close()
    return json.dumps(body), body


def test_a_page_that_keeps_up_gets_each_frame_as_it_stands():
    page = Listener()
    text, body = frame_text(5)
    page.frame(text, body)
    assert page.take() == [text] and page.take() == [] and page.lost == 0


def test_a_page_that_hesitates_gets_every_frame_as_it_stands():
    page, frames = Listener(), [frame_text(number) for number in range(MOST_FRAMES)]
    for frame in frames:
        page.frame(*frame)
    assert page.take() == [text for text, _ in frames] and page.lost == 0
    page.frame(*frames[0])
    assert page.take() == [frames[0][0]]


def test_a_slow_page_gets_the_newest_place_and_loses_no_press():
    page = Listener()
    page.frame(*frame_text(0, "down"))
    for number in range(1, 50):
        page.frame(*frame_text(number, switches=[["switch-down", "stylus-wren", number]] * 3))
    (text,) = page.take()
    body = json.loads(text)
    assert [row[2] for row in body["steps"]] == ["down", "move"]
    assert body["steps"][-1][3] == 49 and body["spots"][0][1] == 49 and body["frame"] == 49
    assert len(body["switches"]) == MOST_SWITCHES
    assert page.lost == 48


def test_words_for_a_slow_page_drop_the_oldest():
    page = Listener()
    for number in range(MOST_WORDS + 10):
        page.say(str(number))
        page.newest("state", f"state {number}")
    taken = page.take()
    assert taken[0] == "10" and taken[-1] == f"state {MOST_WORDS + 9}"
    assert page.dropped == 10 and len(taken) == MOST_WORDS + 1


def test_only_the_newest_picture_waits():
    looker = Looker()
    for number in range(3):
        looker.put(bytes([number]))
    assert looker.take() == b"\x02" and looker.dropped == 2


def test_dots_and_picture_travel_in_one_message():
    head = {"frame": 3, "dots": [[1.5, 2.5, "stylus-wren", True]]}
    assert see_parts(see_message(head, b"\xff\xd8jpeg")) == (head, b"\xff\xd8jpeg")


def test_a_wide_and_deep_picture_is_shown_smaller_in_eight_bits():
    import io

    from PIL import Image

    deep = np.full((600, 1920), 2048, np.uint16)
    deep[:, 960:] = 0
    jpeg, size = jpeg_of(deep, 4095)
    shown = np.array(Image.open(io.BytesIO(jpeg)))
    assert size == (WIDEST_PX, 300) and shown.shape == (300, WIDEST_PX)
    assert abs(int(shown[150, 100]) - 127) <= 3 and shown[150, 900] <= 3
