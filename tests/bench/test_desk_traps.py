"""What a later version could bring back unseen: packed answers, packed messages, open addresses."""

import gzip
import http.client
import inspect
import ipaddress
import json
import shutil
from urllib.parse import urlsplit

import pytest
from tests.served_bench import what_it_said
from typer.testing import CliRunner
from websockets.sync.client import connect

from rushlight.bench.live.control import DEFAULT_ADDRESS, start_live
from rushlight.bench.texts import text
from rushlight.cli import app

LARGE_BYTES = 5000
NOBODY = "192.0.2.7"
"""An address that is kept for examples (RFC 5737, section 3; from memory)."""
ELSEWHERE = json.dumps(text("panel.elsewhere"))[1:-1]


def asked(bench, path, **headers):
    """Headers and body of an answer."""
    where = urlsplit(bench.url)
    connection = http.client.HTTPConnection("127.0.0.1", where.port, timeout=60)
    connection.request("GET", path, headers=headers)
    answer = connection.getresponse()
    body = answer.read()
    connection.close()
    assert answer.status == 200, body[:200]
    return answer.headers, body


def test_no_answer_of_the_desk_is_packed(serving, tmp_path, monkeypatch):
    # NiceGUI 3 packs nothing where it finds itself in a test: the desk must not know of it.
    monkeypatch.delenv("PYTEST_CURRENT_TEST", raising=False)
    shutil.copytree(serving.scenarios / "barn-wall", tmp_path / "barn-wall")
    started = serving.start(tmp_path)
    try:
        for path in ("/", "/rig/barn-wall/plan", "/texts.json", "/desk/room.js"):
            headers, body = asked(started, path, **{"Accept-Encoding": "gzip, deflate, br"})
            assert "Content-Encoding" not in headers, path
            # It is worth packing, so that a server which packs would.
            assert len(body) > LARGE_BYTES and len(gzip.compress(body)) < len(body) / 2
    finally:
        serving.stop(started)


@pytest.fixture(scope="module")
def live(bench):
    """The live process of the bench."""
    return start_live(bench.folder, "127.0.0.1:0")


@pytest.mark.parametrize("name", ["see", "events", "pointer", "control"])
def test_no_message_of_the_live_process_is_packed(live, name):
    address = live.control_url if name == "control" else f"ws://{live.address}/{name}"
    with connect(address, compression="deflate", ping_interval=None) as socket:
        assert "permessage-deflate" in socket.request.headers["Sec-WebSocket-Extensions"]
        assert socket.protocol.extensions == []
        assert "Sec-WebSocket-Extensions" not in socket.response.headers


def is_this_machine_alone(address):
    host, _, _ = address.rpartition(":")
    return ipaddress.ip_address(host).is_loopback


def test_who_names_no_address_serves_this_machine_alone(monkeypatch, tmp_path):
    from rushlight.bench.desk import server
    from rushlight.bench.live import __main__ as live_main

    served = []
    monkeypatch.setattr(server, "serve", lambda folder, address, ready: served.append(address))
    done = CliRunner().invoke(app, ["bench", str(tmp_path), "--no-browser"])
    assert done.exit_code == 0, done.output

    async def serve(folder, address):
        served.append(address)

    monkeypatch.setattr(live_main, "serve", serve)
    monkeypatch.setattr("sys.argv", ["live", str(tmp_path)])
    assert live_main.main() == 0
    assert len(served) == 2 and all(is_this_machine_alone(each) for each in served)
    # The desk names none for the live process that it starts.
    assert inspect.signature(start_live).parameters["address"].default is None
    assert is_this_machine_alone(DEFAULT_ADDRESS)


def test_an_address_open_to_the_network_is_warned_of_and_display_pages_stay_here(
    bench, serving, tmp_path
):
    assert "warning" not in what_it_said(bench)
    shutil.copytree(serving.scenarios / "barn-wall", tmp_path / "barn-wall")
    opened = serving.start(tmp_path, "0.0.0.0:0")
    try:
        said = " ".join(what_it_said(opened).split())
        assert '! warning: --address = "0.0.0.0:0" opens the bench to the network' in said
        assert "display pages and the live picture are served to this machine alone" in said
        _, there = asked(opened, "/rig/barn-wall/watch", Host=f"{NOBODY}:8780")
        _, here = asked(opened, "/rig/barn-wall/watch", Host="127.0.0.1:8780")
        assert ELSEWHERE in there.decode() and ELSEWHERE not in here.decode()
        live = start_live(tmp_path, None)
        assert is_this_machine_alone(live.address)
    finally:
        serving.stop(opened)
