"""The desk's server: it listens on this machine alone, unless asked for more."""

from __future__ import annotations

import signal
import socket
import threading
from collections.abc import Callable
from pathlib import Path
from typing import NoReturn

from rushlight.drive.listening import listen
from rushlight.drive.origin import is_loopback
from rushlight.drive.output import parse_address
from rushlight.errors import Finding

DEFAULT_ADDRESS = "127.0.0.1:8780"
_CLOSING_S = 2
_WHERE = "--address"


def serve(folder: Path, address: str, ready: Callable[[str, list[Finding]], None]) -> None:
    """Serve the desk pages of a folder until it is ended: by Ctrl-C, or politely by SIGTERM.

    Parameters
    ----------
    folder
        Holds a rig, or rigs in folders of their own; it must exist.
    address
        Host and port; port 0 takes any that is free.
    ready
        Told the start page's address, and what there is to warn of, once it listens.

    Raises
    ------
    RushlightError
        When there is no such folder, or the address cannot be had.
    """
    from rushlight.jobs.folder import rigs_of

    rigs_of(folder)
    host, port = parse_address(address, _WHERE)
    listening = listen(
        host, port, _WHERE, address, "end what serves there, or choose another port",
        "bench-address",
    )  # fmt: skip
    opened = not is_loopback(host)
    shown = socket.gethostname() if host in ("0.0.0.0", "::") else host
    shown = f"[{shown}]" if ":" in shown else shown
    import uvicorn

    from rushlight.bench.desk.app import make_app
    from rushlight.bench.desk.worker import end_workers

    app = make_app(folder, opened)
    config = uvicorn.Config(
        app,  # type: ignore[arg-type]
        log_level="warning",
        access_log=False,
        ws_per_message_deflate=False,
        timeout_graceful_shutdown=_CLOSING_S,
    )
    if threading.current_thread() is threading.main_thread():
        # The server takes the signal, closes, and then sends it again. By itself it would end the
        # process there and then, and leave what the workers share to be cleared away by others.
        signal.signal(signal.SIGTERM, _end)
    ready(f"http://{shown}:{listening.getsockname()[1]}/", [_opened(address)] if opened else [])
    try:
        uvicorn.Server(config).run([listening])
    finally:
        end_workers()


def _end(*_: object) -> NoReturn:
    raise SystemExit(0)


def _opened(address: str) -> Finding:
    return Finding(
        "warning",
        "bench-open",
        _WHERE,
        f'"{address}"',
        "opens the bench to the network: everyone in it can change rigs, and begin and end what "
        "the camera does; display pages and the live picture are served to this machine alone",
        f'use "{DEFAULT_ADDRESS}" unless another machine is meant to',
    )
