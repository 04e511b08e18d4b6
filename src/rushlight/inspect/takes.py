"""Takes: a few frames under one set of conditions, which the take's name tells."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from rushlight.capture.depth import Levels, scaled_to_eight_bits
from rushlight.errors import RushlightError
from rushlight.records.dots import Frame
from rushlight.records.quantity import UNITS, parse_quantity

Image = npt.NDArray[np.uint8]

_NUMBER = re.compile(r"(?<!\S)([+−-]?\d+(?:\.\d+)?)\s*([A-Za-zµμ°/0-9]*[A-Za-zµμ°])(?!\S)")
_TOLD = {"time": "exposure_s", "length": "distance_m", "angle": "angle_rad"}


@dataclass(frozen=True)
class Label:
    """What a take's name says: ``"dark 4 ms"``, ``"lamp-a 1.5 m 30 deg"``.

    Attributes
    ----------
    words
        What is no quantity, in small letters.
    exposure_s, distance_m, angle_rad
        NaN where the name does not tell.
    """

    words: tuple[str, ...] = ()
    exposure_s: float = math.nan
    distance_m: float = math.nan
    angle_rad: float = math.nan

    @classmethod
    def of(cls, name: str) -> Label:
        """Read a name.

        Raises
        ------
        RushlightError
            When it tells an exposure, a distance or an angle twice, or one that cannot be.
        """
        text = name.replace("_", " ")
        told: dict[str, float] = {}
        for match in list(_NUMBER.finditer(text)):
            number, unit = match.group(1), match.group(2)
            dimension = next((d for d in _TOLD if unit in UNITS[d]), None)  # type: ignore[index]
            if dimension is None:
                continue
            key = _TOLD[dimension]
            if key in told:
                raise RushlightError.of(
                    f"take {name!r}", "", f"tells a {dimension} twice", "name it once", "take-name"
                )
            told[key] = parse_quantity(f"{number} {unit}", dimension).value  # type: ignore[arg-type]
            if key != "angle_rad" and not told[key] > 0:
                raise RushlightError.of(
                    f"take {name!r}", "", f"tells a {dimension} of 0 or less", "correct it"
                )
            text = text.replace(match.group(0), " ", 1)
        return cls(tuple(text.casefold().split()), **told)

    @property
    def word(self) -> str:
        """All words, joined."""
        return "-".join(self.words)

    @property
    def dark(self) -> bool:
        """Whether the lens was covered."""
        return "dark" in self.words


@dataclass(frozen=True, eq=False)
class Take:
    """Frames under one set of conditions.

    Attributes
    ----------
    name
        Tells the conditions; see `Label`.
    frames
        In the order of their capture; may be read once only when they come live.
    times
        Where the capture times come from, in words.
    simulated
        Whether the frames were computed rather than filmed.
    full_scale_dn
        Level at full scale of frames deeper than 8 bits.
    content_hash
        Of what was read, empty when it came live.
    """

    name: str
    frames: Iterable[Frame] = field(repr=False)
    times: str = ""
    simulated: bool = False
    full_scale_dn: int = 65535
    content_hash: str = ""

    @property
    def label(self) -> Label:
        """What the name says."""
        return Label.of(self.name)

    @property
    def times_counted(self) -> bool:
        """Whether its times were counted at an assumed rate instead of read from a clock."""
        return self.times.startswith("counted")


def images(take: Take) -> Iterator[tuple[Frame, Image]]:
    """The frames of a take that hold a picture, in 8 bits, by which most steps judge.

    Raises
    ------
    RushlightError
        When pictures change their size within the take.
    """
    for frame, image in own_images(take):
        yield frame, eight_bit(image, take.full_scale_dn)


def eight_bit(image: Levels, full_scale_dn: int) -> Image:
    """Pictures of any depth in 8 bits.

    Parameters
    ----------
    image
        (..., H, W) of uint8, which stays as it is, or uint16.
    full_scale_dn
        Level at full scale of deeper ones [DN].
    """
    if image.dtype == np.uint8:
        return np.asarray(image, np.uint8)
    return scaled_to_eight_bits(image, full_scale_dn)


def own_images(take: Take) -> Iterator[tuple[Frame, Levels]]:
    """The frames of a take that hold a picture, in the levels of their camera.

    Raises
    ------
    RushlightError
        When pictures change their size within the take.
    """
    shape: tuple[int, ...] | None = None
    for frame in take.frames:
        if frame.image is None:
            continue
        image: Levels = np.asarray(frame.image)
        shape = shape or image.shape
        if image.shape != shape:
            raise RushlightError.of(
                f"take {take.name!r}",
                f"{image.shape[1]}×{image.shape[0]} px",
                f"is not the size of its first picture, {shape[1]}×{shape[0]} px",
                "keep pictures of one size in a take",
                "size-changes",
            )
        yield frame, image


def stack(take: Take, most: int, least: int = 1) -> npt.NDArray[np.uint8]:
    """The first pictures of a take in 8 bits, at most `most` of them.

    Returns
    -------
    (N, H, W) uint8

    Raises
    ------
    RushlightError
        When there are fewer than `least`.
    """
    return eight_bit(own_stack(take, most, least), take.full_scale_dn)


def own_stack(take: Take, most: int, least: int = 1) -> Levels:
    """The first pictures of a take in their camera's levels, at most `most` of them.

    Returns
    -------
    (N, H, W) uint8 or uint16

    Raises
    ------
    RushlightError
        When there are fewer than `least`.
    """
    kept: list[Levels] = []
    for _, image in own_images(take):
        kept.append(image)
        if len(kept) == most:
            break
    if len(kept) < least:
        raise too_few(take, len(kept), least)
    return np.stack(kept)


def too_few(take: Take, given: int, least: int) -> RushlightError:
    """The refusal of a take with too few pictures."""
    return RushlightError.of(
        f"take {take.name!r}",
        f"{given} pictures",
        f"is fewer than the {least} that this step needs",
        "film longer",
        "frames-few",
    )


def lone(takes: Sequence[Take], step: str) -> Take:
    """The one take of a step that wants one.

    Raises
    ------
    RushlightError
        When there are none or several.
    """
    if len(takes) != 1:
        raise RushlightError.of(
            step,
            ", ".join(repr(take.name) for take in takes) or "no take",
            "wants exactly one take",
            "give the folder or video of a single one",
            "takes-many",
        )
    return takes[0]


def chosen(takes: Sequence[Take], word: str) -> list[Take]:
    """The takes whose name holds a word."""
    return [take for take in takes if word in take.label.words]


def same_size(stacks: Sequence[Levels], step: str) -> None:
    """Refuse takes whose pictures differ in size.

    Raises
    ------
    RushlightError
        When they do.
    """
    sizes = {pictures.shape[1:] for pictures in stacks}
    if len(sizes) > 1:
        raise RushlightError.of(
            step,
            ", ".join(f"{wide}×{high} px" for high, wide in sorted(sizes)),
            "are pictures of different sizes",
            "film every take of a step with one setting of the picture size",
            "size-changes",
        )
