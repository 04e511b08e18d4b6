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


def fetched(site, mode, dest):
    return {"Sec-Fetch-Site": site, "Sec-Fetch-Mode": mode, "Sec-Fetch-Dest": dest}


@pytest.mark.parametrize("path", ["/start.json", "/rig/barn-wall/plan.json", "/rig/barn-wall/plan"])
@pytest.mark.parametrize(
    ("mode", "dest"), [("no-cors", "image"), ("no-cors", "script"), ("navigate", "iframe")]
)
def test_what_a_strangers_page_asks_for_unseen_is_turned_away(bench, path, mode, dest):
    assert status(bench, path, **fetched("cross-site", mode, dest)) == 403


def test_a_link_on_another_site_leads_to_pages_and_to_nothing_else(bench):
    link = fetched("cross-site", "navigate", "document")
    assert status(bench, "/", **link) == 200
    assert status(bench, "/start.json", **link) == 403


@pytest.mark.parametrize("site", ["none", "same-origin", "same-site"])
def test_who_asks_from_here_is_let_in(bench, site):
    assert status(bench, **fetched(site, "no-cors", "image")) == 200


def test_a_page_of_this_machine_by_another_of_its_names_is_let_in(bench):
    asked = fetched("cross-site", "cors", "empty")
    assert status(bench, Origin="http://localhost:5000", **asked) == 200


def test_a_browser_tells_of_a_picture_that_another_site_asks_for(bench, page):
    """By another of its names this machine is another site to a browser."""
    with held_in_a_frame("about:blank", host="") as port:
        page.goto(f"http://localhost:{port}/")
        with page.expect_response("**/start.json") as answered:
            page.evaluate("src => { new Image().src = src; }", f"{bench.url}/start.json")
        assert answered.value.status == 403
        page.evaluate("href => { location.href = href; }", f"{bench.url}/")
        page.locator(".wordmark").wait_for()


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
