"""The socket on which a server of ours listens."""

from __future__ import annotations

import os
import socket

from rushlight.errors import RushlightError


def listen(host: str, port: int, where: str, given: str, remedy: str, code: str) -> socket.socket:
    """A socket that listens, or one clear sentence.

    Parameters
    ----------
    host, port
        Where; port 0 takes any that is free.
    where, given, remedy, code
        Of the finding: which option or field asked for it, as it was typed, what to do when it
        cannot be had, and the finding's code.

    Raises
    ------
    RushlightError
        When the address cannot be had.
    """
    listening = None
    try:
        family, kind, _, _, place = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0]
        # The protocol has to be named: only then does asyncio switch off the waiting of small
        # packets for one another (TCP_NODELAY), which costs 40 ms now and then.
        listening = socket.socket(family, kind, socket.IPPROTO_TCP)
        if os.name == "posix":  # elsewhere the option would let two servers share the port
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind(place)
        listening.listen(64)
    except OSError as error:
        if listening is not None:
            listening.close()
        reason = f"cannot be served on ({error.strerror or error})"
        raise RushlightError.of(where, f'"{given}"', reason, remedy, code) from None
    return listening
