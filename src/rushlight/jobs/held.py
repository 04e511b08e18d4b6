"""Lights that were held still before a filming camera, one after another."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rushlight.capture.footage import Footage
from rushlight.errors import Finding, RushlightError
from rushlight.jobs.progress import Progress
from rushlight.records.dots import Dots
from rushlight.records.resolved import ResolvedRig
from rushlight.register.holds import Hold
from rushlight.see.detect import Detector
from rushlight.track.rig import noise_of

_TELL_EVERY = 20


def dots_of(
    footage: Footage, resolved: ResolvedRig, camera: int, progress: Progress
) -> Iterator[tuple[int, Dots]]:
    """Capture time [ns] and dots of every frame.

    Parameters
    ----------
    footage
        To search.
    resolved, camera
        The rig, and which of its cameras filmed; its noise is reckoned with.
    progress
        Told the share of frames done.
    """
    detect = Detector(*footage.size_px, noise_of(resolved, camera, footage.full_scale_dn))
    for frame in footage:
        if frame.image is None:
            continue
        yield frame.capture_ns, detect(frame.image)
        if footage.frames and frame.index % _TELL_EVERY == 0:
            progress("finding the lights", frame.index / footage.frames)
    progress("finding the lights", 1.0)


def check_held(
    film: str,
    holds: Sequence[Hold],
    names: Sequence[str],
    what: str,
    option: str,
    passed_over: Sequence[Finding],
) -> None:
    """Refuse a film in which not as many lights were held as places are named.

    Parameters
    ----------
    film
        Its name, for messages.
    holds, passed_over
        As `rushlight.register.holds.find_holds` tells them.
    names
        Of the places, in the order in which they were held.
    what, option
        What such places are called, and by which option they are named.

    Raises
    ------
    RushlightError
        When the numbers differ; what was passed over is told with it.
    """
    if len(holds) == len(names):
        return
    raise RushlightError(
        [
            Finding(
                "error", f"touches-and-{what}-differ", film, f"{len(holds)} held lights",
                f"does not match the {len(names)} {what} {', '.join(names)}",
                "hold the light still at each of them in that order, for 0.6 s each and dark in "
                f"between, or name those that were held with {option}",
            ),
            *passed_over,
        ]
    )  # fmt: skip
