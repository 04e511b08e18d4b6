"""Readings of a survey that are typed at a desk and not kept: shown for as long as it stands."""

import asyncio
import json
import os
import shutil
import signal
import urllib.request
from types import SimpleNamespace

import pytest
from tests.bench.puppet import until
from websockets.sync.client import connect

from rushlight.bench.desk import survey_show
from rushlight.bench.desk.live_link import LiveLink
from rushlight.bench.live.control import start_live

TYPED = """
schema = "rushlight/survey-readings"
version = 1
surface = "wall"
[marks]
post = [333, 517]
"""


@pytest.fixture(scope="module")
def place(tmp_path_factory, serving):
    folder = tmp_path_factory.mktemp("typed")
    shutil.copytree(serving.scenarios / "barn-wall", folder / "wall")
    started = start_live(folder, "127.0.0.1:0")
    yield SimpleNamespace(folder=folder, url=started.url, control_url=started.control_url)
    os.kill(started.pid, signal.SIGTERM)
    os.waitpid(started.pid, 0)


def shown(place):
    """Whether the display is told the marks that are typed."""
    with urllib.request.urlopen(f"{place.url}survey.json?rig=wall", timeout=20) as answer:
        told = json.load(answer)
    typed = "post" in [each["mark"] for each in told["marks"]]
    assert typed == told.get("typed", False)
    return typed


def heard(desk):
    """Wait until the live process has heard all that was said, by an order that it refuses."""
    desk.send(json.dumps({"do": "start", "act": "none", "rig": "wall", "source": None}))
    while json.loads(desk.recv(20))["is"] != "failed":
        pass


def test_what_is_typed_goes_with_the_line_by_which_it_was_told(place):
    def type_(desk, tab, words=TYPED):
        desk.send(json.dumps({"do": "type", "rig": "wall", "by": tab, "text": words}))
        heard(desk)

    with connect(place.control_url) as first, connect(place.control_url) as second:
        type_(first, "a tab")
        assert shown(place)
        type_(second, "another", "")
        assert shown(place), "a tab clears nothing of another's"
        # A line that broke may be found out later than it was made anew.
        type_(second, "a tab")
        first.close()
        with connect(place.control_url) as third:
            heard(third)
            assert shown(place)
    until(lambda: not shown(place))


def test_a_desk_whose_line_breaks_for_a_moment_tells_again_what_is_typed(place, monkeypatch):
    async def told():
        link = LiveLink(place.folder)
        await link.open()
        monkeypatch.setattr(survey_show, "desk_link", lambda: link)
        marks = survey_show.ShowMarks(SimpleNamespace(name="wall"), lambda: TYPED)

        async def comes(wanted):
            await asyncio.to_thread(until, lambda: shown(place) == wanted)

        await marks._tell()
        await comes(True)
        broken = link._socket
        await broken.close()
        async with asyncio.timeout(60.0):  # it stands again before the page looks
            while link._socket is broken or not link.connected:
                await asyncio.sleep(0.01)
        await comes(False)
        await marks._tell()
        await comes(True)
        await link.close()

    asyncio.run(told())
    until(lambda: not shown(place))
