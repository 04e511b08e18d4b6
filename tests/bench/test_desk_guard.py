"""Strangers' pages are kept out of the bench, over real sockets on loopback."""

import http.client
from urllib.parse import urlsplit

import pytest


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
