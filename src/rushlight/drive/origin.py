"""Whose pages may listen to the pointer socket.

A browser lets any page on the web open a socket to this machine; what stops a stranger's page
from watching hands at the wall is that the server reads the Origin header, which a page cannot
forge (RFC 6454, section 7; RFC 6455, section 10.2). The Host header is read as well: a stranger's
name may be made to point to this machine, and then his page counts as the server's own. A program
that is no browser can send any header: this keeps out pages, not programs.
"""

from __future__ import annotations

import ipaddress
import socket
from urllib.parse import urlsplit

LOOPBACK_NAMES = frozenset({"localhost"})


def is_loopback(host: str) -> bool:
    """Whether a host name or address is this very machine by its own loopback."""
    if host in LOOPBACK_NAMES:
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _host_of(text: str) -> str:
    """The host of ``host:port`` or of an origin, in small letters; empty where there is none."""
    try:
        return urlsplit(text if "//" in text else f"//{text}").hostname or ""
    except ValueError:
        return ""


def _is_address(host: str) -> bool:
    try:
        ipaddress.ip_address(host)
    except ValueError:
        return False
    return True


def may_listen(origin: str | None, host: str | None, open_to_network: bool) -> bool:
    """Whether a request to listen is let in.

    Let in are pages of this machine (any port), pages opened as files (their origin is "null"),
    programs that state no origin, and, once the socket is opened to the network, its own pages.

    Parameters
    ----------
    origin, host
        The request's headers, None where absent.
    open_to_network
        Whether the socket is bound to more than loopback.

    Returns
    -------
    bool

    Notes
    -----
    A frame that a page has put in a sandbox states "null" too (HTML Standard, "Origin"; from
    memory), so a stranger's page can pass itself off as a file. What it then sees are places of
    pointers; it cannot send any.

    Examples
    --------
    >>> may_listen("http://localhost:5000", "127.0.0.1:8790", False)
    True
    >>> may_listen("https://stranger.example", "127.0.0.1:8790", False)
    False
    >>> may_listen("http://stranger.example:8790", "stranger.example:8790", False)
    False
    """
    asked = _host_of(host or "")
    own_names = {socket.gethostname().lower(), f"{socket.gethostname().lower()}.local"}
    if not is_loopback(asked) and not (
        open_to_network and (_is_address(asked) or asked in own_names)
    ):
        return False
    if origin is None or origin == "null":
        return True
    source = _host_of(origin)
    return is_loopback(source) or (open_to_network and source == asked)
