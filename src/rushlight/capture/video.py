"""Videos from anywhere: grey frames with the times that the file itself gives."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterator
from contextlib import contextmanager
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from rushlight.capture.depth import DeepLevels, Levels, scaled_to_eight_bits
from rushlight.capture.footage import Footage
from rushlight.errors import RushlightError
from rushlight.records.dots import Frame
from rushlight.records.session import SIMULATED_MARK


def open_video(path: Path, rate_hz: float | None, camera: str, *, bits: int | None = 8) -> Footage:
    """Footage from a video file.

    Parameters
    ----------
    path
        A file that the video library can decode.
    rate_hz
        Counts the times at this rate [Hz] instead of reading them, or None.
    camera
        Id for the camera.
    bits
        Depth of the camera, as for `open_pictures`.

    Returns
    -------
    Footage

    Raises
    ------
    RushlightError
        When the file holds no video that can be decoded, or levels beyond `bits`.
    """
    first, held_dn = first_picture(path)
    times = "from the video" if rate_hz is None else f"counted at {rate_hz:g} Hz"

    def read(footage: Footage) -> Iterator[Frame]:
        return _frames(footage, path, rate_hz, levels)

    with path.open("rb") as file:
        content_hash = hashlib.file_digest(file, "sha256").hexdigest()
    footage = Footage(
        str(path),
        camera,
        (first.shape[1], first.shape[0]),
        None,
        times,
        content_hash,
        None,
        read,
        marked_simulated=says_simulated(path),
    )
    levels = DeepLevels(str(path), bits, footage.note)
    levels(first, held_dn)
    footage.full_scale_dn = levels.full_scale_dn
    return footage


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


def first_picture(path: Path) -> tuple[Levels, int]:
    """A video's first frame in grey, and the greatest level that its format holds.

    Parameters
    ----------
    path
        The file.

    Raises
    ------
    RushlightError
        When no frame can be decoded.
    """
    for image, held_dn, _ in grey_frames(path):
        return image, held_dn
    raise RushlightError.of(
        str(path), "", "holds no frame of video", "give another recording", "video-empty"
    )


def grey_frames(path: Path) -> Iterator[tuple[Levels, int, int | None]]:
    """Every frame of a video in grey, with its time.

    Parameters
    ----------
    path
        The file.

    Yields
    ------
    image
        (H, W) of uint8, or uint16 where the video is deeper; all of one size.
    held_dn
        Greatest level that the video's format holds, 255–65535.
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
        image, held_dn = _grey(frame)
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
        yield image, held_dn, moment


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


def _grey(frame: Any) -> tuple[Levels, int]:
    """One frame's grey levels and the greatest that its format holds; colours give their luma."""
    bits = max(component.bits for component in frame.format.components)
    if bits <= 8:
        return np.asarray(frame.to_ndarray(format="gray"), np.uint8), 255
    held_dn = 2**bits - 1
    if frame.format.name.startswith("gray"):
        return np.asarray(frame.to_ndarray(), np.uint16), held_dn
    # The library makes 16 bits of other formats, whatever they held.
    levels = frame.to_ndarray(format="gray16le").astype(np.uint32)
    return np.asarray((levels * held_dn + 32767) // 65535, np.uint16), held_dn


def grey_picture(frame: Any) -> npt.NDArray[np.uint8]:
    """The library's frame as 8-bit grey levels; colours give their luma.

    Parameters
    ----------
    frame
        As the library decoded it.
    """
    image, held_dn = _grey(frame)
    if image.dtype == np.uint8:
        return np.asarray(image, np.uint8)
    return scaled_to_eight_bits(image, held_dn)


def _frames(
    footage: Footage, path: Path, rate_hz: float | None, levels: DeepLevels
) -> Iterator[Frame]:
    """The video's frames with their own or counted times."""
    before_ns: int | None = None
    for index, (image, held_dn, moment_ns) in enumerate(grey_frames(path)):
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
        image = levels(image, held_dn, f"{path}: frame {index}")
        yield Frame(footage.camera, index, moment_ns, math.nan, image)
