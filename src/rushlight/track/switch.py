"""When a light goes on and off.

A light is on from the first frame in which its dot was seen, though that is only known once the
dot is confirmed; it is off from the last frame, known once it was missed for a set time. In frames
that were lost nothing was missed: what is known of a light that was seen before them is that it was
dark from the first frame after them that does not show it. Both events bear the moment of the
light, not of the knowledge. Off is not forgotten: its trail is kept
for longer (`see.link`), and a light that comes back to it is pressed anew under the old name.
"""

from __future__ import annotations

from dataclasses import dataclass

from rushlight.records.session import Event, EventKind

RELEASE_S = 0.1
"""Time without a dot after which a light counts as off [s]: longer than a dot that fails for a
few frames, shorter than the dark between two taps; no source."""


@dataclass
class Press:
    """One stretch of light, from its first to its last frame so far.

    Attributes
    ----------
    trail
        Id of the trail.
    carried
        Id of the thing, or None.
    first_ns, first_frame
        Moment [ns] and index of the first frame that showed the light.
    last_ns, last_frame
        The same of the last frame so far.
    """

    trail: int
    carried: str | None
    first_ns: int
    first_frame: int
    last_ns: int
    last_frame: int

    def seen(self, time_ns: int, frame: int) -> None:
        """Note that the light is still on.

        Parameters
        ----------
        time_ns, frame
            Capture time [ns] and index of the frame that shows it.
        """
        self.last_ns, self.last_frame = time_ns, frame

    def down(self) -> Event:
        """The event of the light's beginning; a trail without a name is merely found."""
        kind: EventKind = "found" if self.carried is None else "switch-down"
        return Event(self.first_ns, kind, self.carried, self.trail, self.first_frame)

    def up(self) -> Event:
        """The event of the light's end; a trail without a name is merely lost."""
        kind: EventKind = "lost" if self.carried is None else "switch-up"
        return Event(self.last_ns, kind, self.carried, self.trail, self.last_frame)
