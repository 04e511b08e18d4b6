"""How the desk finds the live process, and what it may ask of it."""

from __future__ import annotations

import contextlib
import hmac
import json
import os
import socket
import subprocess
import sys
import time
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from rushlight.bench.live.work import ACTS, Order
from rushlight.errors import RushlightError
from rushlight.jobs.folder import rigs_of

FOLDER = ".bench"
DEFAULT_ADDRESS = "127.0.0.1:8781"

START_S = 60.0
"""Longest wait for a live process to be there [s]; it takes about a second, and far longer where
everything else wants the machine too."""

ANSWER_S = 1.0
"""Longest wait for a listening socket on this machine to take a connection [s]; no source."""

_started: dict[int, subprocess.Popen[bytes]] = {}  # kept, so that their ends are noticed


@dataclass(frozen=True)
class Place:
    """Where a live process is.

    Attributes
    ----------
    address
        Host and port.
    token
        Whoever shows it may give orders.
    pid
        Number of the process.
    """

    address: str
    token: str
    pid: int

    @property
    def url(self) -> str:
        """Of its pages, with the last slash."""
        return f"http://{self.address}/"

    @property
    def control_url(self) -> str:
        """Of the socket for orders."""
        return f"ws://{self.address}/control?token={self.token}"


def live_file(folder: Path) -> Path:
    """Where a live process says where it is."""
    return folder / FOLDER / "live.json"


def write_place(folder: Path, place: Place) -> None:
    """Say where it is, to nobody but the user: the file is made unreadable for others first."""
    file = live_file(folder)
    file.parent.mkdir(exist_ok=True)
    part = file.with_suffix(f".{place.pid}")
    with open(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w") as to:
        json.dump(asdict(place), to)
    part.replace(file)


def read_place(folder: Path) -> Place | None:
    """Where the folder's live process is, if it lives; None otherwise."""
    place = _told_place(folder)
    if place is None:
        return None
    own = _started.get(place.pid)
    if own is not None and own.poll() is not None:
        return None
    try:
        # After a power cut, another program may have the number: somebody must listen as well.
        os.kill(place.pid, 0)
        with socket.create_connection(_host_and_port(place.address), ANSWER_S):
            return place
    except (OSError, ValueError):
        return None


def _told_place(folder: Path) -> Place | None:
    """Where a live process last said that it was, alive or not."""
    try:
        return Place(**json.loads(live_file(folder).read_text()))
    except (OSError, ValueError, TypeError):
        return None


def _host_and_port(address: str) -> tuple[str, int]:
    host, _, port = address.rpartition(":")
    return host.strip("[]"), int(port)


def start_live(folder: Path, address: str | None = None) -> Place:
    """The folder's live process, started if there is none; it outlives who starts it.

    Parameters
    ----------
    folder
        With rigs in it.
    address
        Host and port that it is started on; port 0 takes any that is free. None takes the one
        that the folder's live process had before, so that open pages find it again, or
        `DEFAULT_ADDRESS`, or any port where other programs have those.

    Raises
    ------
    RushlightError
        When it does not come to be, or nothing can be written into the folder.
    """
    if (place := read_place(folder)) is not None:
        return place
    log = folder / FOLDER / "live.log"
    try:
        log.parent.mkdir(exist_ok=True)
        log.touch()
    except OSError as error:
        raise RushlightError.of(
            str(log.parent),
            "",
            f"cannot be written: {error.strerror}",
            "make the folder writable, or copy your rigs into one that is",
            "live-folder",
        ) from None
    # An address that was free may be taken before it is served: then any other does.
    host, _, _ = DEFAULT_ADDRESS.rpartition(":")
    for trying in (address,) if address else (_free_address(folder), f"{host}:0"):
        if (place := _started_at(folder, trying, log)) is not None:
            return place
    raise RushlightError.of(
        "bench",
        f'"{trying}"',
        "is not served: the live process did not start",
        f"see {log}, or choose another address",
        "live-start",
    )


def _started_at(folder: Path, address: str, log: Path) -> Place | None:
    """Start a live process at an address; None when it ended, or was not there in time."""
    with log.open("ab") as to:
        process = subprocess.Popen(
            [sys.executable, "-m", "rushlight.bench.live", str(folder), "--address", address],
            stdin=subprocess.DEVNULL,
            stdout=to,
            stderr=to,
            start_new_session=True,
        )
    _started[process.pid] = process
    until_s = time.monotonic() + START_S
    while time.monotonic() < until_s and process.poll() is None:
        if (place := read_place(folder)) is not None and place.pid == process.pid:
            return place
        time.sleep(0.02)
    if process.poll() is None:
        # A late one would be a second beside the next.
        process.terminate()
    return read_place(folder)  # another desk was faster, or nobody


def _free_address(folder: Path) -> str:
    """The first that can be had of what it was before and of `DEFAULT_ADDRESS`, or any port."""
    before = _told_place(folder)
    for address in [*([before.address] if before else []), DEFAULT_ADDRESS]:
        with contextlib.suppress(OSError, ValueError), socket.socket() as trying:
            if os.name == "posix":
                trying.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            trying.bind(_host_and_port(address))
            return address
    return f"{DEFAULT_ADDRESS.rpartition(':')[0]}:0"


def is_token(given: str | None, token: str) -> bool:
    """Whether it is the token; takes as long for any that is not."""
    return hmac.compare_digest((given or "").encode(), token.encode())


def order_of(message: Any, folder: Path) -> Order:
    """An order to start, read and checked.

    Parameters
    ----------
    message
        With act, rig, source, out and options.
    folder
        In which the rig's folder is.

    Raises
    ------
    RushlightError
        When the act or the rig is not there.
    """
    act, name = message.get("act"), message.get("rig")
    if act not in ACTS:
        raise RushlightError.of(
            "act", f'"{act}"', "is not known", f"choose among {', '.join(ACTS)}", "act-unknown"
        )
    rig = next((each.folder for each in rigs_of(folder) if each.name == name), None)
    if rig is None:
        raise RushlightError.of(
            "rig",
            f'"{name}"',
            f"is no rig in {folder}",
            "name a folder with rig.toml",
            "rig-unknown",
        )
    rig = rig.resolve()
    source, out = message.get("source"), message.get("out")
    return Order(act, rig, source, out, dict(message.get("options") or {}))
