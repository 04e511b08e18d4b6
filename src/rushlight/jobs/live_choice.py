"""What a user asks of a live run, whatever kind of rig it follows."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class LiveChoice:
    """What the user asked of a live run beside rig and registration.

    Attributes
    ----------
    source
        As `open_live` takes it; None for the rig's own.
    cameras
        For a rig of several cameras that follow at once, one source for each as
        `rushlight.jobs.space_sources.named_sources` takes them, instead of `source`.
    outputs
        Names of what is switched on; None for the rig's own.
    filter_name
        How trails are smoothed; None as the rig says.
    ahead
        How far fixes are foretold, as text with unit; None as the rig says.
    length
        After how long to stop, as text with unit; None runs until the source ends or someone
        ends it.
    loop
        Whether a recording that is replayed begins again at its end.
    """

    source: str | None = None
    outputs: tuple[str, ...] | None = None
    filter_name: str | None = None
    ahead: str | None = None
    length: str | None = None
    loop: bool = False
    cameras: tuple[str, ...] = ()
