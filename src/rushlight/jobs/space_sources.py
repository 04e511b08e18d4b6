"""Open one live source for each camera of a rig that follows things in space."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path

from rushlight.capture.live import LiveDots, LiveFrames
from rushlight.capture.open import open_footage
from rushlight.capture.replay import Pace
from rushlight.capture.space import film_path
from rushlight.capture.together import LiveTogether
from rushlight.errors import RushlightError
from rushlight.jobs.load import rig_path
from rushlight.jobs.sources import open_source
from rushlight.keep.session import SessionReader
from rushlight.records.dots import Frame
from rushlight.records.rig import Rig
from rushlight.records.space_footage import SPACE_FOOTAGE

FILMS = ("simulated", "footage")
"""Forms of sources that may be the folder of what all cameras filmed."""
SESSION = "session"
"""A recorded session holds the dots of all cameras."""


def named_sources(given: Sequence[str], rig: Rig, name: str) -> dict[str, str | None]:
    """By camera in the rig's order, the source that the user gives it; None for the rig's own.

    Parameters
    ----------
    given
        Each ``CAMERA=SOURCE``; or one source alone, for the only camera, or as the folder of what
        all cameras filmed, or the session that holds what all of them saw.
    rig
        With the cameras.
    name
        Of its file, for messages.

    Raises
    ------
    RushlightError
        When a source names no camera where it has to, an unknown one, or one a second time.

    Examples
    --------
    A colon before the sign belongs to an address: ``http://192.0.2.7/?size=full`` names no camera.
    """
    sources: dict[str, str | None] = {camera.id: None for camera in rig.cameras}
    for text in given:
        camera, equals, source = text.partition("=")
        if not equals or ":" in camera:
            if len(given) > 1 or not (len(sources) == 1 or _of_all(text)):
                raise RushlightError.of(
                    "--camera",
                    text,
                    f"does not say which of the cameras {', '.join(sources)} it is",
                    f"give one for each, as --camera {next(iter(sources))}={text}",
                    "camera-unnamed",
                )
            return {each: _own(text, each) for each in sources}
        if camera not in sources:
            raise RushlightError.of(
                f"{name}: cameras",
                ", ".join(sources),
                f'has no camera "{camera}"',
                "name one of them",
                "camera-unknown",
            )
        if sources[camera] is not None:
            raise RushlightError.of(
                "--camera",
                text,
                f'gives camera "{camera}" a second source',
                "give one for each camera",
                "camera-twice",
            )
        sources[camera] = _own(source, camera)
    return sources


def open_sources(given: Sequence[str], rig: Rig, rig_file: Path, loop: bool) -> LiveTogether:
    """The live sources of all cameras of a rig, opened.

    Parameters
    ----------
    given
        As of `named_sources`.
    rig, rig_file
        The rig, and its file or folder.
    loop
        Whether recordings begin again at their end.

    Raises
    ------
    RushlightError
        When a source is not named, or gives nothing.
    """
    sources = named_sources(given, rig, rig_path(rig_file).name)
    for camera in rig.cameras:
        if sources[camera.id] is None and camera.source is not None:
            sources[camera.id] = _own(camera.source, camera.id)
    pace = _pace_of(sources)
    opened: list[LiveFrames | LiveDots] = []
    with ExitStack() as stack:
        for name, text in sources.items():
            opened.append(open_source(text, rig_file, name, loop, pace=pace))
            stack.push(opened[-1])
        stack.pop_all()
    return LiveTogether(opened)


def _of_all(text: str) -> bool:
    """Whether a source holds what all cameras of a space filmed or saw."""
    form, _, rest = text.partition(":")
    return form == SESSION or (form in FILMS and (Path(rest) / SPACE_FOOTAGE).is_file())


def _own(text: str, camera: str) -> str:
    """One camera's own part of a source; a session is asked for it by the camera's name."""
    form, _, rest = text.partition(":")
    if form in FILMS and _of_all(text):
        return f"{form}:{film_path(Path(rest), camera)}"
    return text


def _pace_of(sources: dict[str, str | None]) -> Pace | None:
    """The clock that recordings share: from the first frame of any of them."""
    first: list[Frame | None] = []
    for camera, text in sources.items():
        form, _, rest = (text or "").partition(":")
        if form in FILMS:
            first.append(next(iter(open_footage(Path(rest))), None))
        elif form == SESSION:
            with SessionReader(Path(rest)) as session:
                frames = session.frames(camera)
                first.append(min(frames, key=lambda frame: frame.capture_ns, default=None))
    if len(first) < 2:
        return None  # a recording by itself needs no other's clock
    return Pace(min((frame.capture_ns for frame in first if frame is not None), default=0))
