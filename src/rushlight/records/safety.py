"""Estimates beside published limits: eyes before infrared light, and before a projector's beam."""

from __future__ import annotations

from typing import Literal

from rushlight.records.document import Record, Slug


class EyeLine(Record):
    """One estimate for one part of the eye, always to be shown with the caution.

    Attributes
    ----------
    light
        What shines: a carried thing, an illuminator or an anchor.
    where, distance_m
        Where the eye is taken to be [m].
    look
        How long it looks: a long stay, a single pulse, or the pulses within a quarter second.
    eye
        Which part of it.
    value, limit, unit
        Estimate and published limit; None where unknown.
    ratio
        Of the two [1].
    diodes
        How many count together: all for cornea and lens, the worst grouping for the retina.
    band, words
        Far below, within a factor of ten, above; and that with the factor.
    method
        What was assumed, and the source of the limit.
    """

    light: str
    where: str
    distance_m: float
    look: str
    eye: Literal["cornea", "lens", "retina"]
    value: float | None
    limit: float | None
    unit: str
    ratio: float | None
    diodes: int
    band: str
    words: str
    method: str


class BeamLine(Record):
    """What someone would see who looked into a projector's lens; an estimate.

    Attributes
    ----------
    surface, person
        Whose projector, and whose eyes.
    child
        Whether the person's age is given as a child's.
    distance_m
        From the lens to the nearest that their eyes come [m].
    luminance_cd_m2
        Of the lens [cd/m²].
    blue_w_m2_sr
        Its radiance weighted for the blue-light hazard [W·m⁻²·sr⁻¹].
    time_limit_s
        Looked at for so long in all it reaches the published dose [s]; None where it never does.
    ratio, band, words
        Of that radiance to the limit for a glance of a quarter second.
    """

    surface: Slug
    person: Slug
    child: bool
    distance_m: float
    luminance_cd_m2: float
    blue_w_m2_sr: float
    time_limit_s: float | None
    ratio: float
    band: str
    words: str
