"""Did a live source give what the rig counts on: frames at all, and so many a second?"""

from __future__ import annotations

from rushlight.capture.live import LiveDots, LiveFrames
from rushlight.errors import Finding
from rushlight.jobs.following import Setting

LEAST_FRAMES = 60
"""Frames below which the rate is not compared (the project's own choice)."""

LEAST_SHARE = 0.9
"""Of the rig's rate; above it a camera counts as keeping it (the project's own choice)."""


def rig_rate_hz(setting: Setting) -> float | None:
    """What the rig says of the followed camera's rate [Hz], None without a rig.

    Parameters
    ----------
    setting
        From `prepare`.
    """
    cameras = () if setting.rig is None else setting.rig.cameras
    named = [each for each in cameras if each.id == setting.source.camera]
    return named[0].frame_rate.value if named else None


def poor_source(
    source: LiveFrames | LiveDots, frames: int, rate_hz: float | None, wanted_hz: float | None
) -> list[Finding]:
    """What a user should know of a source that gave less than is counted on.

    Parameters
    ----------
    source
        That was followed.
    frames
        How many were followed, ≥ 0.
    rate_hz
        Frames that came a second of late [Hz], None before there were two.
    wanted_hz
        Of the rig [Hz], or None.
    """
    if frames == 0:
        return [
            Finding(
                "warning",
                "source-empty",
                source.name,
                "",
                "gave nothing that could be followed, from beginning to end",
                "check that it is on, sends now, and sends what the rig says of it",
            )
        ]
    if wanted_hz is None or rate_hz is None or frames < LEAST_FRAMES or source.reconnects:
        return []
    if rate_hz >= LEAST_SHARE * wanted_hz:
        return []
    return [
        Finding(
            "warning",
            "source-slow",
            source.name,
            f"{rate_hz:.3g} frames/s",
            f"are fewer than the {wanted_hz:g} Hz that the rig says, and delay and smoothing were "
            "planned for",
            "give more light or a shorter exposure, a smaller picture or a better network, or "
            "write the true frame_rate into the rig and plan again",
        )
    ]
