"""Strangers' pages are kept out of the bench, over real sockets on loopback."""

import http.client
from urllib.parse import urlsplit

import pytest
from tests.bench.puppet import until
from tests.served_bench import held_in_a_frame


def status(bench, path="/start.json", **headers):
    where = urlsplit(bench.url)
    connection = http.client.HTTPConnection(where.hostname, where.port, timeout=20)
    connection.request("GET", path, headers=headers)
    answer = connection.getresponse().status
    connection.close()
    return answer


def test_a_page_of_this_machine_is_let_in(bench):
    assert status(bench) == 200
    assert status(bench, Origin=bench.url) == 200


@pytest.mark.parametrize("path", ["/", "/start.json", "/rig/barn-wall/plan", "/texts.json"])
def test_a_strangers_name_for_this_machine_is_turned_away(bench, path):
    assert status(bench, path, Host="stranger.example") == 403


@pytest.mark.parametrize("origin", ["https://stranger.example", "null", "file://"])
def test_a_strangers_page_is_turned_away(bench, origin):
    assert status(bench, Origin=origin) == 403


@pytest.mark.parametrize("origin", ["https://stranger.example", "null"])
def test_a_strangers_socket_is_closed(bench, origin):
    from websockets.exceptions import InvalidStatus
    from websockets.sync.client import connect

    socket = f"{bench.url.replace('http', 'ws')}/_nicegui_ws/socket.io/?EIO=4&transport=websocket"
    with pytest.raises(InvalidStatus) as refused:
        connect(socket, origin=origin)
    assert refused.value.response.status_code == 403


@pytest.mark.parametrize(
    ("path", "host"),
    [
        ("/", None),
        ("/rig/barn-wall/watch", None),
        ("/rig/none-such/plan", None),
        ("/start.json", None),
        ("/desk/room.js", None),
        ("/display/texts.js", None),
        ("/rig/barn-wall/published/none-such.svg", None),
        ("/none-such", None),
        ("/", "stranger.example"),
    ],
)
def test_every_answer_says_that_only_the_desk_itself_may_hold_it_in_a_frame(bench, path, host):
    where = urlsplit(bench.url)
    connection = http.client.HTTPConnection(where.hostname, where.port, timeout=60)
    connection.request("GET", path, headers={"Host": host} if host else {})
    answer = connection.getresponse()
    policies = answer.headers.get_all("Content-Security-Policy")
    connection.close()
    assert policies == ["frame-ancestors 'self'"]


@pytest.fixture
def holder(bench):
    """A server on this machine, but not the desk, whose page holds a desk page in a frame."""
    with held_in_a_frame(f"{bench.url}/rig/barn-wall/watch") as port:
        yield port


def test_no_other_page_may_hold_a_desk_page(holder, page):
    said = []
    page.on("console", lambda message: said.append(message.text))
    page.goto(f"http://127.0.0.1:{holder}/")
    until(lambda: (page.wait_for_timeout(50), "frame-ancestors" in "".join(said))[1])
    assert page.frame_locator("iframe").locator(".wordmark").count() == 0


def test_a_desk_page_may_hold_another(bench, page):
    page.goto(f"{bench.url}/start.json")
    page.evaluate(
        """src => { const held = document.createElement("iframe");
          held.src = src; document.body.append(held); }""",
        f"{bench.url}/rig/barn-wall/watch",
    )
    page.frame_locator("iframe").locator(".wordmark").wait_for(timeout=60_000)
