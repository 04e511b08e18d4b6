"""What every recorded source looks like: a header, and frames to iterate over."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from rushlight.errors import Finding
from rushlight.records.dots import Frame
from rushlight.records.session import FootageHeader

DEFAULT_RATE_HZ = 30.0
"""Frame rate assumed for pictures that carry no times [Hz]; the summary says so."""

FrameReader = Callable[["Footage"], Iterator[Frame]]


@dataclass
class Footage:
    """Recorded frames of one camera. Iterating reads them from the start, dropping none.

    Attributes
    ----------
    name
        As the user gave it.
    camera
        The camera's id.
    size_px
        Width and height of every frame [px].
    frames
        Number of frames, or None where only reading to the end would tell.
    times
        Where the capture times come from, in words.
    content_hash
        SHA-256 of the sidecar or of the pictures.
    header
        The sidecar, or None for footage from anywhere.
    findings
        What the reader noticed; grows while frames are read.
    read
        Makes an iterator over the frames.
    marked_simulated
        Whether the file itself says that it was simulated, with or without a sidecar.
    full_scale_dn
        Grey level of a pixel at full scale: 255, or more where frames are of uint16.
    """

    name: str
    camera: str
    size_px: tuple[int, int]
    frames: int | None
    times: str
    content_hash: str
    header: FootageHeader | None
    read: FrameReader = field(repr=False)
    findings: list[Finding] = field(default_factory=list)
    marked_simulated: bool = False
    full_scale_dn: int = 255

    @property
    def simulated(self) -> bool:
        """Whether the frames were computed rather than filmed; unknown counts as filmed."""
        return self.marked_simulated or (self.header is not None and self.header.simulated)

    def __iter__(self) -> Iterator[Frame]:
        return self.read(self)

    def note(self, finding: Finding) -> None:
        """Keep a finding, once however often the footage is read."""
        if finding not in self.findings:
            self.findings.append(finding)
