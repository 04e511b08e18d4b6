"""A cluster's scheduler: its address, and the client that sends work there."""

from __future__ import annotations

import asyncio
import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from rushlight.errors import RushlightError

if TYPE_CHECKING:
    from distributed import Client

_ADDRESS = re.compile(r"(?:(?:tcp|tls)://)?(?:[\w.-]+|\[[0-9a-fA-F:.]+\]):(\d{1,5})", re.ASCII)
_HOW = 'give it as "tcp://host:8786"'


def check_address(address: str) -> None:
    """Refuse what is no address of a scheduler, before anything is asked of it.

    Parameters
    ----------
    address
        ``tcp://host:port``, ``tls://host:port`` or ``host:port``.

    Raises
    ------
    RushlightError
        When it is none.
    """
    found = _ADDRESS.fullmatch(address)
    if found is None or not 1 <= int(found[1]) <= 65535:
        raise _refused(address, "is no address of a scheduler", _HOW)


@contextmanager
def client_of(address: str, wait_s: float) -> Iterator[Client]:
    """A client of the scheduler at an address, closed in the end.

    Parameters
    ----------
    address
        As `check_address` takes it.
    wait_s
        How long a worker is waited for [s], > 0; the scheduler itself for a third of that.

    Raises
    ------
    RushlightError
        When the library is missing, or no scheduler or no worker answers.
    """
    check_address(address)
    try:
        from distributed import Client
    except ImportError:
        raise _refused(
            address,
            "needs a library that is not installed",
            'install it with pip install "rushlight[cluster]", or leave --scheduler out to use '
            "this machine",
            "cluster-missing",
        ) from None
    try:
        # A client that finds nobody complains of itself once it is thrown away: ask before.
        answer = asyncio.run(asyncio.wait_for(_identity(address, wait_s / 3.0), wait_s / 3.0))
        if answer.get("type") != "Scheduler":
            raise ValueError("something else of the library answers")
        client = Client(address, timeout=wait_s / 3.0, set_as_default=False)
    except (OSError, ValueError, TypeError):
        raise _refused(
            address,
            "answers to no scheduler",
            'start one, and give its address as "tcp://host:8786"',
        ) from None
    try:
        try:
            client.wait_for_workers(1, timeout=wait_s)
        except TimeoutError:
            raise _refused(
                address, f"has had no worker for {wait_s:g} s", "start workers that report to it"
            ) from None
        yield client
    finally:
        client.close()


async def _identity(address: str, wait_s: float) -> dict[str, Any]:
    from distributed.core import connect, send_recv
    from distributed.security import Security

    asked = await connect(address, timeout=wait_s, **Security().get_connection_args("client"))
    try:
        return dict(await send_recv(asked, op="identity"))
    finally:
        asked.abort()


def _refused(address: str, why: str, remedy: str, code: str = "cluster") -> RushlightError:
    return RushlightError.of("--scheduler", f'"{address}"', why, remedy, code)
