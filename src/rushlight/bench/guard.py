"""Keeps pages of strangers away from the servers of the bench, by Host and Origin."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any
from urllib.parse import urlsplit

from rushlight.drive.origin import may_listen

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
        headers = {name.lower(): value for name, value in scope["headers"]}
        origin, host = headers.get(b"origin"), headers.get(b"host")
        allowed = may_enter(
            None if origin is None else origin.decode("latin-1"),
            None if host is None else host.decode("latin-1"),
            self._open,
        )
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
