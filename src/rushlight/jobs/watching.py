"""Someone who looks on while a live run goes on: what it is shown, and what it must not do."""

from __future__ import annotations

from typing import Protocol

from rushlight.capture.live import LiveDots, LiveFrames
from rushlight.drive.output import Display, Output
from rushlight.records.space import ResolvedSpace
from rushlight.track.following import Followed


def first_display(space: ResolvedSpace) -> Display | None:
    """The first screen of a space as the display that pages fill; None where there is none."""
    from rushlight.physics.geometry.offaxis import screen_frame

    if not space.screens:
        return None
    screen = space.screens[0]
    width_m, height_m = screen_frame(screen.corners_m).size_m.tolist()
    columns, rows = (int(side) for side in screen.display_px)
    return Display((width_m, height_m), (columns, rows), screen.id)


class Watch(Protocol):
    """Looks on. It is called between two frames, so it must never wait for anybody."""

    def begins(self, source: LiveFrames | LiveDots) -> None:
        """Told the open source before its first frame; a rehearsal's hands are asked through it."""

    def seen(self, followed: Followed) -> None:
        """One frame, picture included, and what it told; after the outputs had it.

        In space, frames of the first camera, and what is in them alone.
        """

    def output(self, display: Display) -> Output:
        """One more output, opened where dots are mapped to a surface.

        It gets what every output gets: foretold where the rig says so, and called off when no
        frames come.

        Parameters
        ----------
        display
            Of the surface that the fixes are on.
        """

    def space_output(self, space: ResolvedSpace) -> Output:
        """The same where fixes are of things in space.

        Parameters
        ----------
        space
            In which they move, with the screens that an eye may see.
        """
