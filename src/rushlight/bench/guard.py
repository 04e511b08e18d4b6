"""Keeps pages of strangers away from the servers of the bench.

It goes by Host and Origin, and by what browsers tell of who asks where there is no Origin.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any
from urllib.parse import urlsplit

from rushlight.drive.origin import may_listen

_TOLD = ("site", "mode", "dest")
"""What a browser tells of a request, of what may_fetch reads."""

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
Application = Callable[[Scope, Receive, Send], Awaitable[None]]

FOREIGN_CODE = 1008
"""Close code for a page that may not come in: policy violation (RFC 6455, section 7.4.1)."""


def may_enter(origin: str | None, host: str | None, open_to_network: bool) -> bool:
    """Whether a request to the bench is let in.

    Stricter than `rushlight.drive.origin.may_listen`, because the bench writes files and steers a
    camera: a page that states where it comes from must come from a server of this machine, so that
    neither a file nor a frame in a sandbox (whose origin is "null") is let in.

    Examples
    --------
    >>> may_enter("http://127.0.0.1:8780", "127.0.0.1:8780", False)
    True
    >>> may_enter("null", "127.0.0.1:8780", False)
    False
    >>> may_enter(None, "stranger.example:8780", False)
    False
    """
    if origin is not None and not urlsplit(origin).hostname:
        return False
    return may_listen(origin, host, open_to_network)


def may_fetch(
    path: str, site: str | None, mode: str | None, dest: str | None, frames: bool = False
) -> bool:
    """Whether a request without an Origin may come from where the browser says that it does.

    A picture that a stranger's page asks for here has no Origin and names this machine as its
    host, and would set a job of minutes to work. From another site only pages may be asked for,
    to be looked at, as by a link; addresses that end in ``.json`` are no pages. Programs, and
    browsers that reach the bench through a network without encryption, tell nothing of this, and
    are let in.

    Parameters
    ----------
    path
        That is asked for.
    site, mode, dest
        The request's headers Sec-Fetch-Site, Sec-Fetch-Mode and Sec-Fetch-Dest (W3C, Fetch
        Metadata Request Headers, working draft; from memory), None where absent.
    frames
        Whether a page may come in a frame too, because its answer says itself who may hold it.

    Examples
    --------
    >>> may_fetch("/rig/wall/plan.json", "cross-site", "no-cors", "image")
    False
    >>> may_fetch("/rig/wall/plan", "cross-site", "navigate", "document")
    True
    """
    if site != "cross-site":
        return True
    shown_in = ("document", "iframe") if frames else ("document",)
    return mode == "navigate" and dest in shown_in and not path.endswith(".json")


class Guard:
    """An ASGI application that lets in only what `may_enter`, before all others.

    Parameters
    ----------
    app
        That is kept.
    open_to_network
        Whether it is served to more than this machine.
    framed_by
        Who may hold an answer in a frame, as a content security policy lists it (W3C, Content
        Security Policy Level 3, directive frame-ancestors), for each answer that does
        not say so itself. Empty where every answer that can be framed does.
    """

    def __init__(
        self, app: Application, open_to_network: bool = False, framed_by: str = ""
    ) -> None:
        self._app = app
        self._open = open_to_network
        self._framed_by = f"frame-ancestors {framed_by}".encode() if framed_by else b""

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Hand a request on, or turn it away."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        headers = {
            name.lower().decode("latin-1"): value.decode("latin-1")
            for name, value in scope["headers"]
        }
        origin = headers.get("origin")
        allowed = may_enter(origin, headers.get("host"), self._open)
        if origin is None:  # an Origin that is let in is of this machine, by another of its names
            site, mode, dest = (headers.get(f"sec-fetch-{each}") for each in _TOLD)
            frames = not self._framed_by
            allowed = allowed and may_fetch(scope["path"], site, mode, dest, frames)
        send = self._framed(send)
        if allowed:
            await self._app(scope, receive, send)
        elif scope["type"] == "websocket":
            await receive()
            await send({"type": "websocket.close", "code": FOREIGN_CODE})
        else:
            body = b"This bench answers pages of its own machine only.\n"
            kind = (b"content-type", b"text/plain; charset=utf-8")
            await send({"type": "http.response.start", "status": 403, "headers": [kind]})
            await send({"type": "http.response.body", "body": body})

    def _framed(self, send: Send) -> Send:
        """Sends answers on, each with who may hold it in a frame."""

        async def framed(message: MutableMapping[str, Any]) -> None:
            if self._framed_by and message["type"] == "http.response.start":
                headers = list(message.get("headers", ()))
                if not any(
                    name.lower() == b"content-security-policy" and b"frame-ancestors" in value
                    for name, value in headers
                ):
                    headers.append((b"content-security-policy", self._framed_by))
                message = {**message, "headers": headers}
            await send(message)

        return framed
