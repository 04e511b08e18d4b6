"""Where a JPEG picture ends, told by the picture itself as its bytes come in.

A picture is a row of marker segments, each with its length, up to the scans; a scan's coded data
has no length, and goes on to the next marker that is neither a stuffed zero nor a restart. What a
segment holds, a thumbnail with an end of its own for instance, is passed over unread. Source:
ITU-T T.81 (1992), Annex B, B.1.1.2 to B.1.1.5 and Table B.1 (from memory).
"""

from __future__ import annotations

START, END, SCAN = 0xD8, 0xD9, 0xDA
"""Codes of the markers SOI, EOI and SOS."""

BARE = frozenset({0x01, START, *range(0xD0, 0xD8)})
"""Codes without a segment: TEM, SOI, RST0 to RST7."""

IN_SCAN = frozenset({0x00, *range(0xD0, 0xD8)})
"""What may follow 0xFF within coded data: the stuffed zero, and restarts."""


class JpegEnd:
    """Looks for the end of one picture in bytes that grow.

    Attributes
    ----------
    lost
        Whether this is no JPEG picture, or one so damaged that its end cannot be told.
    """

    def __init__(self) -> None:
        self.lost = False
        self._at = 0
        self._coded = False

    def find(self, content: bytes | bytearray) -> int:
        """How long the picture is.

        Parameters
        ----------
        content
            All that has come of it so far, from its first byte; what came before must be the
            same at every call.

        Returns
        -------
        int
            Bytes up to and with the end marker; −1 while it has not come, and where it is lost.
        """
        while not self.lost:
            known = self._pass_coded(content) if self._coded else self._pass_marker(content)
            if known is not None:
                return known
        return -1

    def _pass_coded(self, content: bytes | bytearray) -> int | None:
        """Go on to the marker that ends the coded data; None once it is reached."""
        at = content.find(0xFF, self._at)
        while 0 <= at < len(content) - 1 and content[at + 1] in IN_SCAN:
            at = content.find(0xFF, at + 2)
        self._at = len(content) if at < 0 else at
        if self._at >= len(content) - 1:
            return -1
        self._coded = False
        return None

    def _pass_marker(self, content: bytes | bytearray) -> int | None:
        """Go over one marker with its segment; None once that is done."""
        at = self._at
        if len(content) < at + 2:
            return -1
        fill, code = content[at], content[at + 1]
        if fill != 0xFF or code == 0x00 or (at == 0 and code != START):
            self.lost = True
            return -1
        if code == 0xFF:  # any number of fill bytes may stand before a marker
            self._at += 1
            return None
        if code == END:
            return at + 2
        if code in BARE:
            self._at += 2
            return None
        if len(content) < at + 4:
            return -1
        length = int.from_bytes(content[at + 2 : at + 4], "big")
        if length < 2:
            self.lost = True
            return -1
        if len(content) < at + 2 + length:
            return -1
        self._at += 2 + length
        self._coded = code == SCAN
        return None
