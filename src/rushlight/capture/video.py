"""Videos from anywhere: grey frames with the times that the file itself gives."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from rushlight.capture.footage import Footage
from rushlight.errors import Finding, RushlightError
from rushlight.records.dots import Frame
from rushlight.records.session import SIMULATED_MARK

Image = npt.NDArray[np.uint8]
Note = Callable[[Finding], None]


def open_video(path: Path, rate_hz: float | None, camera: str) -> Footage:
    """Footage from a video file.

    Parameters
    ----------
    path
        A file that the video library can decode.
    rate_hz
        Counts the times at this rate [Hz] instead of reading them, or None.
    camera
        Id for the camera.

    Returns
    -------
    Footage

    Raises
    ------
    RushlightError
        When the file holds no video that can be decoded.
    """
    size_px = video_size(path)
    times = "from the video" if rate_hz is None else f"counted at {rate_hz:g} Hz"

    def read(footage: Footage) -> Iterator[Frame]:
        return _frames(footage, path, rate_hz)

    with path.open("rb") as file:
        content_hash = hashlib.file_digest(file, "sha256").hexdigest()
    return Footage(
        str(path),
        camera,
        size_px,
        None,
        times,
        content_hash,
        None,
        read,
        marked_simulated=says_simulated(path),
    )


def says_simulated(path: Path) -> bool:
    """Whether a video file bears the mark of simulated footage.

    Parameters
    ----------
    path
        The file.

    Raises
    ------
    RushlightError
        When it is no video.
    """
    import av  # loads the codecs: only where a video is really read

    with _told(path, av.FFmpegError, "is not a video that can be read"):
        container = av.open(str(path))
    with container:
        # Containers spell the key each in their own case.
        notes = {key.lower(): value for key, value in container.metadata.items()}
        return notes.get("comment") == SIMULATED_MARK


def video_size(path: Path) -> tuple[int, int]:
    """Width and height of a video's first frame [px].

    Parameters
    ----------
    path
        The file.

    Raises
    ------
    RushlightError
        When no frame can be decoded.
    """
    for image, _ in grey_frames(path, lambda finding: None):
        return int(image.shape[1]), int(image.shape[0])
    raise RushlightError.of(
        str(path), "", "holds no frame of video", "give another recording", "video-empty"
    )


def grey_frames(path: Path, note: Note) -> Iterator[tuple[Image, int | None]]:
    """Every frame of a video in grey, with its time.

    Parameters
    ----------
    path
        The file.
    note
        Told once when deeper pictures are brought down to 8 bits.

    Yields
    ------
    image
        (H, W) of uint8, all of one size.
    time_ns
        As the file gives it [ns], None where it gives none.

    Raises
    ------
    RushlightError
        When the file is no video, a frame cannot be decoded, or the size changes.
    """
    size: tuple[int, ...] | None = None
    index = -1
    for index, frame in enumerate(_decoded(path)):
        image = _grey(frame, path, note)
        if size is None:
            size = image.shape
        elif image.shape != size:
            raise RushlightError.of(
                f"{path}: frame {index}",
                f"{image.shape[1]}×{image.shape[0]} px",
                f"is not of the size of the frames before it, {size[1]}×{size[0]} px",
                "give footage of one size",
                "size-changes",
            )
        moment = None
        if frame.pts is not None and frame.time_base is not None:
            moment = round(Fraction(frame.pts) * frame.time_base * 1_000_000_000)
        yield image, moment


def _decoded(path: Path) -> Iterator[Any]:
    """The library's frames, with its errors told in a sentence."""
    import av  # loads the codecs: only where a video is really read

    index = 0
    with _told(path, av.FFmpegError, "is not a video that can be read"):
        container = av.open(str(path))
    with container:
        if not container.streams.video:
            raise RushlightError.of(
                str(path), "", "holds no video stream", "give a video file", "video-missing"
            )
        stream = container.streams.video[0]
        stream.thread_type = "AUTO"
        frames = container.decode(stream)
        while True:
            with _told(path, av.FFmpegError, f"cannot be decoded at frame {index}"):
                frame = next(frames, None)
            if frame is None:
                return
            yield frame
            index += 1


@contextmanager
def _told(path: Path, failure: type[Exception], allowed: str) -> Iterator[None]:
    """Say what is wrong with a file in the place of the library's own error."""
    try:
        yield
    except failure as error:
        reason = getattr(error, "strerror", None) or type(error).__name__
        raise RushlightError.of(
            str(path),
            "",
            f"{allowed} ({reason})",
            "give an undamaged recording",
            "video-unreadable",
        ) from error


def _grey(frame: Any, path: Path, note: Note) -> Image:
    """One frame as 8-bit grey levels; colours give their luma."""
    if any(component.bits > 8 for component in frame.format.components):
        note(deeper_finding(str(path)))
    return grey_picture(frame)


def grey_picture(frame: Any) -> Image:
    """The library's frame as 8-bit grey levels; colours give their luma.

    Parameters
    ----------
    frame
        As the library decoded it.
    """
    if all(component.bits <= 8 for component in frame.format.components):
        return np.asarray(frame.to_ndarray(format="gray"), np.uint8)
    return eight_bit(frame.to_ndarray(format="gray16le"))


def eight_bit(image: npt.NDArray[np.uint16]) -> Image:
    """16-bit grey levels brought down to 8 bits, full scale to full scale.

    Parameters
    ----------
    image
        (H, W) of uint16.
    """
    return np.asarray((image.astype(np.uint32) + 128) // 257, np.uint8)


def deeper_finding(name: str) -> Finding:
    """What to tell when pictures deeper than 8 bits were brought down.

    Parameters
    ----------
    name
        Of the footage.
    """
    return Finding(
        "note",
        "scaled-to-8-bits",
        name,
        "pictures deeper than 8 bits",
        "were scaled so that full scale is 255",
        "record 8 bits if faint lights get lost",
    )


def _frames(footage: Footage, path: Path, rate_hz: float | None) -> Iterator[Frame]:
    """The video's frames with their own or counted times."""
    before_ns: int | None = None
    for index, (image, moment_ns) in enumerate(grey_frames(path, footage.note)):
        if rate_hz is not None:
            moment_ns = round(index * 1e9 / rate_hz)
        if moment_ns is None or (before_ns is not None and moment_ns <= before_ns):
            raise RushlightError.of(
                f"{path}: frame {index}",
                "no time" if moment_ns is None else f"time {moment_ns * 1e-9:.4f} s",
                "does not follow the frame before",
                'count the times instead, with --rate "30 Hz" or so',
                "video-times",
            )
        before_ns = moment_ns
        yield Frame(footage.camera, index, moment_ns, math.nan, image)
