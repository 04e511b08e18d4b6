"""What is known of a camera's noise, and what must be learnt from the picture instead."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Self

from rushlight.errors import RushlightError

QUANTISATION_VARIANCE_DN2 = 1.0 / 12.0
"""Variance of rounding to whole grey levels [DN²]: a uniform error one level wide (computed)."""

ASSUMED_GAIN_E_PER_DN = 20.0
"""Electrons a grey level stands for when nobody knows: 8 bits over a full well of about 5 ke⁻.

From memory: low-cost sensors hold 4–20 ke⁻. It only weights the pixels of a fit; the covariance
is then stretched until the residuals fit it.
"""


@dataclass(frozen=True, slots=True)
class SensorNoise:
    """Noise of a camera as its pixels report it.

    Attributes
    ----------
    gain_e_per_dn
        Electrons a grey level [e⁻/DN], > 0; NaN when unknown.
    read_noise_dn
        Read noise without quantisation [DN], ≥ 0; NaN when it is to be measured in every frame.
    offset_dn
        Grey level of a pixel without light [DN]; NaN when unknown.
    full_scale_dn
        Level at which a pixel clips [DN], 2–65535: 255 for 8 bits, 1023 for 10, 4095 for 12; NaN
        when it is to be read from every frame.

    Raises
    ------
    RushlightError
        When a value is outside its range.
    """

    gain_e_per_dn: float = math.nan
    read_noise_dn: float = math.nan
    offset_dn: float = math.nan
    full_scale_dn: float = 255.0

    def __post_init__(self) -> None:
        checks = (
            ("gain_e_per_dn", self.gain_e_per_dn > 0, "must be above 0 electrons a grey level"),
            ("read_noise_dn", self.read_noise_dn >= 0, "must be 0 grey levels or more"),
            ("offset_dn", math.isfinite(self.offset_dn), "must be a finite grey level"),
            ("full_scale_dn", 2 <= self.full_scale_dn <= 65535, "must lie between 2 and 65535"),
        )
        for name, fits, allowed in checks:
            value = getattr(self, name)
            if not fits and not math.isnan(value):
                raise RushlightError.of(
                    f"camera noise: {name}", str(value), allowed, "correct it, or leave it unknown"
                )

    @classmethod
    def unknown(cls) -> Self:
        """Footage from anywhere: noise and clipping level are learnt from each picture."""
        return cls(full_scale_dn=math.nan)

    @property
    def known(self) -> bool:
        """Whether read noise and gain are both given."""
        return not (math.isnan(self.read_noise_dn) or math.isnan(self.gain_e_per_dn))

    def levels_per_electron(self, level_bytes: int = 1) -> float:
        """Grey levels an electron makes [DN/e⁻], by the assumed gain when none is known.

        Parameters
        ----------
        level_bytes
            Bytes of a pixel: with 2, the assumed gain is spread over the levels up to the
            clipping level, or over 16 bits where that is unknown.
        """
        if not math.isnan(self.gain_e_per_dn):
            return 1.0 / self.gain_e_per_dn
        if level_bytes == 1:
            return 1.0 / ASSUMED_GAIN_E_PER_DN
        full_scale_dn = 65535.0 if math.isnan(self.full_scale_dn) else self.full_scale_dn
        return (full_scale_dn + 1.0) / 256.0 / ASSUMED_GAIN_E_PER_DN

    def variance_dn2(self, level_dn: float) -> float:
        """Variance of a pixel at a level, quantisation included [DN²].

        Parameters
        ----------
        level_dn
            Mean grey level of the pixel [DN].

        Returns
        -------
        float
            Read noise, shot noise and quantisation together [DN²]; NaN when the read noise is
            unknown. An unknown offset counts as 0, which makes the figure cautious.

        Notes
        -----
        Source: EMVA Standard 1288, release 4.0 (the linear camera model: temporal noise as the
        sum of dark, shot and quantisation variance); from memory.
        """
        offset_dn = 0.0 if math.isnan(self.offset_dn) else self.offset_dn
        shot_dn2 = max(level_dn - offset_dn, 0.0) * self.levels_per_electron()
        return self.read_noise_dn**2 + shot_dn2 + QUANTISATION_VARIANCE_DN2
