"""Deep pictures: what their levels mean, however the file or the driver holds them.

A camera of 10 or 12 bits often hands its levels in 16: at the lower end, moved up to the upper
end, or stretched over all of it. The depth that the rig's part tells decides; where none is told,
levels are handed on as they are and the detector looks for the clipping level itself.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

import numpy as np
import numpy.typing as npt

from rushlight.errors import Finding, RushlightError

Levels = npt.NDArray[np.uint8] | npt.NDArray[np.uint16]

Way = Literal["as they are", "moved up", "stretched"]


class DeepLevels:
    """Brings the pictures of one source to the levels of its camera.

    How levels are held is settled by the first deep picture, and must then hold for all.

    Parameters
    ----------
    name
        Of the source, for messages.
    bits
        Depth of the camera, 8–16; 8 brings deeper pictures down. None takes levels as they are.
    note
        Told, once or more often, what was done to the levels.

    Attributes
    ----------
    full_scale_dn
        Level of a pixel at full scale, as far as it is known: 255 before any deep picture came.
    """

    def __init__(self, name: str, bits: int | None, note: Callable[[Finding], None]) -> None:
        self._name, self._bits, self._note = name, bits, note
        self._way: Way | None = None
        self.full_scale_dn = 255

    def __call__(self, image: Levels, held_dn: int, where: str = "") -> Levels:
        """A picture in the levels of its camera.

        Parameters
        ----------
        image
            (H, W) of uint8, which stays as it is, or uint16.
        held_dn
            Greatest level that the file or format can hold, 255–65535.
        where
            Which picture, for messages; the source by default.

        Returns
        -------
        ndarray
            (H, W) of uint8 or uint16.

        Raises
        ------
        RushlightError
            When levels are not those of a camera of so many bits.
        """
        if image.dtype == np.uint8:
            return image
        if self._bits == 8:
            self._note(deeper_finding(self._name))
            return scaled_to_eight_bits(image, held_dn)
        told_dn = held_dn if self._bits is None else 2**self._bits - 1
        if self._way is None:
            self._settle(image, held_dn, told_dn)
        if self._way == "moved up":
            return np.asarray(image >> self._shift(held_dn, told_dn), np.uint16)
        if self._way == "stretched":
            return _pressed(image, held_dn, told_dn)
        if held_dn > told_dn and image.max() > told_dn:
            raise RushlightError.of(
                where or self._name,
                f"level {image.max()}",
                f"is beyond the {told_dn} of the {self._bits} bits that the rig's camera part "
                "tells, and the pictures do not hold such levels moved up or stretched either",
                "correct bit_depth in the camera's part",
                "levels-beyond",
            )
        return image

    def _settle(self, image: Levels, held_dn: int, told_dn: int) -> None:
        """See how the first deep picture holds its levels."""
        self._way = "as they are"
        self.full_scale_dn = min(held_dn, told_dn)
        if self._bits is None:
            if held_dn == 65535:
                self._note(_untold(self._name, int(image.max())))
            return
        if held_dn < told_dn:
            self._note(_fewer(self._name, held_dn, told_dn))
        if held_dn <= told_dn or image.max() <= told_dn:
            return
        shift = self._shift(held_dn, told_dn)
        if not np.any(image & ((1 << shift) - 1)):
            self._way = "moved up"
        elif _is_stretched(image, held_dn, told_dn):
            self._way = "stretched"

    @staticmethod
    def _shift(held_dn: int, told_dn: int) -> int:
        return held_dn.bit_length() - told_dn.bit_length()


def _pressed(image: Levels, held_dn: int, told_dn: int) -> Levels:
    """Levels that were stretched, brought back."""
    return np.asarray((image.astype(np.uint32) * told_dn + held_dn // 2) // held_dn, np.uint16)


def _is_stretched(image: Levels, held_dn: int, told_dn: int) -> bool:
    """Whether levels are those of fewer bits times a factor, rounded either way."""
    back = _pressed(image, held_dn, told_dn).astype(np.float64) * held_dn / told_dn
    return bool(np.all(np.abs(back - image) <= 1.0))


def scaled_to_eight_bits(image: Levels, full_scale_dn: int) -> npt.NDArray[np.uint8]:
    """Grey levels brought down to 8 bits, full scale to full scale.

    Parameters
    ----------
    image
        (H, W) of uint16.
    full_scale_dn
        What becomes 255, 256–65535.
    """
    levels = (image.astype(np.uint32) * 255 + full_scale_dn // 2) // full_scale_dn
    return np.asarray(np.minimum(levels, 255), np.uint8)


def deeper_finding(name: str) -> Finding:
    """What to tell when pictures deeper than 8 bits were brought down.

    Parameters
    ----------
    name
        Of the footage.
    """
    return Finding(
        "note",
        "scaled-to-8-bits",
        name,
        "pictures deeper than 8 bits",
        "were scaled so that full scale is 255",
        "give a rig whose camera part tells its bit_depth if faint lights get lost",
    )


def _untold(name: str, greatest_dn: int) -> Finding:
    return Finding(
        "note",
        "depth-untold",
        name,
        f"level {greatest_dn}",
        "is the greatest of the first picture, held in 16 bits, and nobody told the camera's "
        "depth: where pixels clip is looked for in every picture",
        "give a rig whose camera part tells its bit_depth",
    )


def _fewer(name: str, held_dn: int, told_dn: int) -> Finding:
    return Finding(
        "note",
        "depth-differs",
        name,
        f"{held_dn.bit_length()} bits",
        f"are fewer than the {told_dn.bit_length()} that the rig's camera part tells, and the "
        "noise that the part tells was taken in coarser levels",
        "record at the camera's full depth if faint lights get lost",
    )
