"""Open a live source by the words with which people name it."""

from __future__ import annotations

from pathlib import Path

from rushlight.capture.address import split_address
from rushlight.capture.device import DeviceFeed, device_place
from rushlight.capture.feed import Feed
from rushlight.capture.lines import LinesFeed
from rushlight.capture.live import OPENING_S, LiveDots, LiveFrames
from rushlight.capture.multipart import MultipartFeed
from rushlight.capture.open import open_footage
from rushlight.capture.replay import Pace, replay, replay_session
from rushlight.capture.rtsp import RtspFeed
from rushlight.capture.settings import settings_of
from rushlight.errors import RushlightError
from rushlight.records.dot_noise import DotNoise
from rushlight.records.rig import Camera

FORMS = (
    "camera:0",
    "camera:/dev/video2",
    "http://192.0.2.7:8080/video",
    "rtsp://192.0.2.7:8554/live",
    "serial:/dev/ttyUSB0",
    "simulated:FOLDER",
    "session:FILE",
    "rehearsal:SEED",
)
"""What a source may look like; the addresses are those kept for examples by RFC 5737."""

ASKEW = "askew"
"""A rehearsal whose camera does not hang quite as planned: ``rehearsal:SEED:askew``."""

ADDRESSES = ("http", "https", "rtsp", "rtsps")
NAMES = ("camera", "serial", "simulated", "footage", "session", "rehearsal", *ADDRESSES)
"""What a source's name may begin with."""


def open_live(
    text: str,
    camera: Camera | None = None,
    *,
    size_px: tuple[int, int] | None = None,
    exposure_s: float | None = None,
    delay_s: float = 0.0,
    bits: int | None = 8,
    noise: DotNoise | None = None,
    speed: float = 1.0,
    loop: bool = False,
    patience_s: float | None = None,
    within_s: float = OPENING_S,
    pace: Pace | None = None,
) -> LiveFrames | LiveDots:
    """A live source, opened; it is a context manager and is to be iterated over.

    Parameters
    ----------
    text
        One of the forms in `FORMS` but ``rehearsal:SEED``, which the jobs open, since it takes
        a whole rig; ``footage:PATH`` is another word for ``simulated:``, which
        takes any recording.
    camera
        Of the rig: its id, exposure, gain, rate, stream and lines. None leaves a camera as it is.
    size_px
        Size of the camera's part [px], asked of a camera of this computer; and of a session.
    exposure_s
        Chosen by the plan where the rig says "auto" [s], > 0.
    delay_s
        Of the camera's part: from the end of the exposure to the frame in memory [s], ≥ 0.
    bits
        Depth of the camera, 8–16: more than 8 are asked of a camera of this computer, and
        recordings are brought to its levels. None hands on what recordings hold.
    noise
        Of a sensor that sends dots, from `learn_noise`.
    speed, loop
        Of a recording: 1 for its own pace; whether to begin again at its end.
    patience_s
        How long a broken source is tried again before it counts as gone [s]; None never gives up.
    within_s
        How long the first frame is waited for [s], > 0.
    pace
        That recordings of several cameras share as they are replayed.

    Returns
    -------
    LiveFrames or LiveDots
        `gives_dots` tells which: frames, or (Frame, Dots).

    Raises
    ------
    RushlightError
        When there is no such source or it gives nothing, in one clear sentence.
    """
    check_source(text, "camera")
    form, _, rest = text.partition(":")
    if form in ("simulated", "footage", "session") and rest:
        return _recorded(form, Path(rest), camera, size_px, speed, loop, bits, pace)
    if form == "rehearsal":
        raise RushlightError.of(
            "camera", text, "rehearses a rig, and none was given", "give the rig", "rehearsal-rig"
        )
    settings = settings_of(
        camera, size_px=size_px, exposure_s=exposure_s, delay_s=delay_s, bits=bits or 8
    )
    feed: Feed
    if form == "serial" and rest:
        return LiveDots(LinesFeed(rest, settings, noise), patience_s).open(within_s)
    if form == "camera" and rest:
        feed = DeviceFeed(device_place(rest), text, settings)
    elif form in ("http", "https"):
        feed = MultipartFeed(text, settings)
    else:
        feed = RtspFeed(text, settings)
    return LiveFrames(feed, patience_s).open(within_s)


def check_source(text: str, where: str) -> None:
    """Refuse what is no name of a source; whether there is such a source is not looked for.

    Parameters
    ----------
    text
        As of `open_live`.
    where
        Named in the error.

    Raises
    ------
    RushlightError
        When it has none of the `FORMS`.
    """
    form, _, rest = text.partition(":")
    if form not in NAMES or not rest:
        raise RushlightError.of(
            where,
            text,
            "is no source of frames",
            f"give one such as {', '.join(FORMS)}",
            "source-unknown",
        )
    if form == "camera":
        device_place(rest)
    elif form == "rehearsal":
        rehearsed(text, where)
    elif form in ADDRESSES:
        split_address(text)


def rehearsed(text: str, where: str = "camera") -> tuple[int, bool]:
    """Seed of a rehearsal, and whether its camera hangs askew.

    Raises
    ------
    RushlightError
        When it is not written so.
    """
    seed, mark, how = text.partition(":")[2].partition(":")
    if not (seed.isascii() and seed.isdigit()):
        raise RushlightError.of(
            where, text, "has no whole number from 0 as its seed", "give one such as rehearsal:7",
            "seed",
        )  # fmt: skip
    if mark and how != ASKEW:
        raise RushlightError.of(
            where, text, f"ends in no word that a rehearsal knows, which is {ASKEW}",
            f"give one such as rehearsal:7 or rehearsal:7:{ASKEW}", "rehearsal-how",
        )  # fmt: skip
    return int(seed), bool(mark)


def _recorded(
    form: str,
    path: Path,
    camera: Camera | None,
    size_px: tuple[int, int] | None,
    speed: float,
    loop: bool,
    bits: int | None,
    pace: Pace | None,
) -> LiveFrames | LiveDots:
    """A recording that is replayed."""
    name = None if camera is None else camera.id
    if form == "session":
        return replay_session(path, name, size_px, speed, loop, pace)
    footage = open_footage(
        path,
        camera=name or "camera",
        rig_rate_hz=None if camera is None else camera.frame_rate.value,
        bits=bits,
    )
    return replay(footage, speed, loop, pace)
