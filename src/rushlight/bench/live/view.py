"""The camera's picture for those who look: encoded beside the work, and only when someone does."""

from __future__ import annotations

import io
import threading
import time
from typing import Any

import numpy as np

from rushlight.bench.live.wire import Body, Outbox
from rushlight.records.arrays import Array

WIDEST_PX = 960
"""A wider picture is shown smaller; no source: it fills half a common screen."""

RATE_HZ = 15.0
"""Pictures a second at most; no source: enough to aim by."""

QUALITY = 75
"""Of JPEG, as the library Pillow takes it; its own usual value."""


def jpeg_of(image: Array, full_scale_dn: int = 255) -> tuple[bytes, tuple[int, int]]:
    """A picture as grey JPEG, no wider than `WIDEST_PX`, and its size.

    Parameters
    ----------
    image
        (H, W) of uint8, or of uint16.
    full_scale_dn
        Level that is shown white, of a picture deeper than 8 bits.

    Returns
    -------
    tuple[bytes, tuple[int, int]]
    """
    from PIL import Image

    if image.dtype != np.uint8:
        image = np.minimum(image.astype(np.uint32) * 255 // full_scale_dn, 255).astype(np.uint8)
    picture = Image.fromarray(np.ascontiguousarray(image))
    if picture.width > WIDEST_PX:
        high = max(1, round(picture.height * WIDEST_PX / picture.width))
        picture = picture.resize((WIDEST_PX, high), Image.Resampling.BOX)
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=QUALITY)
    return out.getvalue(), picture.size


def dot_rows(followed: Any) -> list[list[Any]]:
    """Dots of a frame as [x px, y px, carried or None, whether it is followed as lit]."""
    of_dot = {
        link.dot: link.carried
        for link in followed.links
        if link.frame == followed.frame.index and link.dot >= 0 and link.state == "held"
    }
    return [
        [round(float(x), 2), round(float(y), 2), of_dot.get(index), index in of_dot]
        for index, (x, y) in enumerate(followed.dots.xy)
    ]


class View:
    """Encodes the newest frame now and then, while someone looks.

    Parameters
    ----------
    outbox
        Where pictures go, each with the dots of its own frame.

    Attributes
    ----------
    looking
        Whether someone looks; nothing is encoded otherwise.
    full_scale_dn
        Of the pictures.
    """

    def __init__(self, outbox: Outbox) -> None:
        self.looking = False
        self.full_scale_dn = 255
        self._outbox = outbox
        self._newest: tuple[Body, Array | None] | None = None
        self._ended = False
        self._changed = threading.Condition()
        self._due_s = 0.0
        self._thread: threading.Thread | None = None

    def offer(self, followed: Any) -> None:
        """A frame that was followed; never waits for its picture."""
        if self.due():
            self.show(followed.frame, dot_rows(followed))

    def due(self) -> bool:
        """Whether a picture is wanted now."""
        return self.looking and time.monotonic() >= self._due_s

    def show(self, frame: Any, dots: list[list[Any]]) -> None:
        """A frame with its dots as `dot_rows` gives them, if one is due."""
        if not self.due():
            return
        self._due_s = time.monotonic() + 1.0 / RATE_HZ
        image = frame.image
        head = {
            "is": "picture",
            "frame": frame.index,
            "capture_ms": round(frame.capture_ns * 1e-6, 3),
            "size_px": None if image is None else [image.shape[1], image.shape[0]],
            "dots": dots,
        }
        with self._changed:
            self._newest = (head, image)
            if self._thread is None:
                self._thread = threading.Thread(target=self._encode, daemon=True, name="picture")
                self._thread.start()
            self._changed.notify()

    def close(self) -> None:
        """End the thread."""
        with self._changed:
            self._ended = True
            self._changed.notify()

    def _encode(self) -> None:
        while True:
            with self._changed:
                self._changed.wait_for(lambda: self._newest is not None or self._ended)
                if self._ended or self._newest is None:
                    return
                (head, image), self._newest = self._newest, None
            if image is None:
                self._outbox.newest("picture", {**head, "picture_px": None})
            else:
                picture, size = jpeg_of(image, self.full_scale_dn)
                self._outbox.newest("picture", {**head, "picture_px": size}, picture)
