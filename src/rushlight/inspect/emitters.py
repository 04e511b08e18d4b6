"""The step "emitters": is each alive, which way round, how bright beside the others, how wide?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import optimize

from rushlight.errors import Finding, RushlightError
from rushlight.inspect.lit import Light, light_of
from rushlight.inspect.polarity import SWAPPED, polarity
from rushlight.inspect.result import (
    Drawing,
    Measure,
    StepResult,
    digits,
    interval_of,
    note,
    warning,
)
from rushlight.inspect.takes import Take
from rushlight.physics.intervals import ratio_interval
from rushlight.records.arrays import Array

LEAST_FRAMES = 5
PLACING = 0.03
"""Relative uncertainty of a flux by how exactly the emitter was placed and aimed: 1 % of
distance, and a few degrees; no source."""

ALIKE = 0.2
"""Emitters this near in brightness are called alike; no source."""

MISFIT = 0.1
"""Departure from the lobe, as a part of its peak, beyond which the half angle is read off between
the points instead; no source."""

LEAST_ANGLES = 4


@dataclass(frozen=True)
class _Reading:
    """One take's light.

    Attributes
    ----------
    who
        The words of the take's name.
    swapped
        Whether its leads were changed over.
    distance_m
        NaN when it is not told.
    angle_rad
        From the emitter's axis; 0 when it is not told.
    flux, std
        Mean [DN], by its distance squared and for one second of exposure where they are told.
    light
        As seen.
    """

    who: str
    swapped: bool
    distance_m: float
    exposure_s: float
    angle_rad: float
    flux: float
    std: float
    light: Light

    @property
    def alive(self) -> bool:
        """Whether it was seen in half the frames or more."""
        return self.light.seen >= max(1, self.light.frames // 2)

    @property
    def usable(self) -> bool:
        """Whether its flux can be used."""
        return self.alive and len(self.light.flux_dn) >= max(2, self.light.frames // 2)


def emitters(
    takes: Sequence[Take], reference_intensity_w_sr: float = math.nan, current_a: float = math.nan
) -> StepResult:
    """Which emitters are alive, which way round, how bright, and how wide do they shine?

    Parameters
    ----------
    takes
        One for each emitter, or for each angle to which it is turned, named by both, and by the
        distance and exposure where they differ: ``"wren 1 m 0 deg"``. One with the word
        "swapped" shows the emitter with its two leads changed over.
    reference_intensity_w_sr
        Intensity on the axis of the emitter named "reference" [W/sr]; NaN when there is none.
    current_a
        Through the emitters while they were filmed [A]; NaN when it is unknown.

    Returns
    -------
    StepResult

    Raises
    ------
    RushlightError
        When there is no take, one is too short, or only some tell their distance or exposure.
    """
    lit = [take for take in takes if not take.label.dark]
    if not lit:
        raise RushlightError.of(
            "emitters", "no take", "was given", 'film each emitter, as "wren 1 m 0 deg"'
        )
    for what, told in (
        ("distance", [math.isfinite(take.label.distance_m) for take in lit]),
        ("exposure", [math.isfinite(take.label.exposure_s) for take in lit]),
    ):
        if any(told) and not all(told):
            raise RushlightError.of(
                "emitters",
                ", ".join(
                    repr(t.name) for t, is_told in zip(lit, told, strict=True) if not is_told
                ),
                f"does not tell its {what}, as other takes do",
                f"tell the {what} in every name, or in none when it was the same",
                "take-name",
            )
    seen = [_reading(take) for take in lit]
    readings = [reading for reading in seen if not reading.swapped]
    ways = polarity(*(_seen_straight(seen, way) for way in (False, True)))
    straight = _straight(readings)
    beam = _beam(readings)
    measures, reasons = [], [*map(_alive_reason, readings), *ways.reasons]
    brightness, bright_reasons, ratios = _brightness(straight, reference_intensity_w_sr, current_a)
    measures += brightness
    reasons += bright_reasons
    drawing = None
    if beam is not None:
        measures.append(beam.measure)
        reasons.append(beam.reason)
        drawing = beam.drawing
    return StepResult(
        "emitters",
        _verdict(readings, ways.wrong, ratios, beam is not None),
        tuple(reasons),
        tuple(measures),
        (*_findings([each for each in readings if each.who not in ways.wrong]), *ways.findings),
        part_kind="emitter",
        extra={"relative_brightness": ratios},
        drawing=drawing,
    )


def _reading(take: Take) -> _Reading:
    light = light_of(take, LEAST_FRAMES)
    label = take.label
    scale = (1.0 if math.isnan(label.distance_m) else label.distance_m**2) / (
        1.0 if math.isnan(label.exposure_s) else label.exposure_s
    )
    flux = std = math.nan
    if len(light.flux_dn) >= 2:
        flux = scale * float(np.mean(light.flux_dn))
        chance = scale * float(np.std(light.flux_dn, ddof=1)) / math.sqrt(len(light.flux_dn))
        std = math.hypot(chance, PLACING * flux)
    angle = 0.0 if math.isnan(label.angle_rad) else label.angle_rad
    who = "-".join(word for word in label.words if word != SWAPPED) or "emitter"
    swapped = SWAPPED in label.words
    return _Reading(who, swapped, label.distance_m, label.exposure_s, angle, flux, std, light)


def _alive_reason(reading: _Reading) -> str:
    at = f"{reading.who} at {math.degrees(reading.angle_rad):.0f}°"
    light = reading.light
    if not reading.alive:
        return f"{at}: seen in {light.seen} of {light.frames} frames"
    if not reading.usable:
        return f"{at}: alive, but too bright to be measured ({light.saturated} white frames)"
    return f"{at}: alive, {digits(float(np.mean(light.flux_dn)))} grey levels in all"


def _seen_straight(readings: Sequence[_Reading], swapped: bool) -> dict[str, bool]:
    """Whether each emitter was seen from about its axis, its leads one way or the other."""
    seen: dict[str, bool] = {}
    for each in readings:
        if each.swapped == swapped and abs(each.angle_rad) <= math.radians(5.0):
            seen[each.who] = seen.get(each.who, False) or each.alive
    return seen


def _straight(readings: Sequence[_Reading]) -> dict[str, _Reading]:
    """Each emitter's reading nearest to its axis, those beyond 5° left out."""
    best: dict[str, _Reading] = {}
    for reading in readings:
        if not reading.usable or abs(reading.angle_rad) > math.radians(5.0):
            continue
        other = best.get(reading.who)
        if other is None or abs(reading.angle_rad) < abs(other.angle_rad):
            best[reading.who] = reading
    return best


def _brightness(
    straight: dict[str, _Reading], reference_w_sr: float, current_a: float
) -> tuple[list[Measure], list[str], dict[str, float]]:
    """Brightness beside the mean of all, and intensity beside a reference."""
    measures: list[Measure] = []
    reasons: list[str] = []
    reference = straight.get("reference")
    own = {who: reading for who, reading in straight.items() if who != "reference"}
    ratios: dict[str, float] = {}
    if len(own) > 1:
        mean = float(np.mean([reading.flux for reading in own.values()]))
        mean_std = float(np.linalg.norm([r.std for r in own.values()])) / len(own)
        for who, reading in own.items():
            # Each is part of the mean it is compared with.
            shared = reading.std**2 / len(own)
            ratio = ratio_interval(reading.flux, reading.std, mean, mean_std, covariance=shared)
            measures.append(
                Measure(
                    f"{who}, brightness over the mean of all",
                    ratio._replace(n=len(reading.light.flux_dn)),
                )
            )
            ratios[who] = round(ratio.value, 4)
    if reference is not None and own and math.isfinite(reference_w_sr):
        each = [ratio_interval(r.flux, r.std, reference.flux, reference.std) for r in own.values()]
        value = float(np.mean([ratio.value for ratio in each])) * reference_w_sr
        spread = np.std([r.value for r in each], ddof=1) if len(each) > 1 else 0.0
        std = reference_w_sr * math.hypot(float(each[0].std), float(spread))
        method = "flux beside a reference emitter's"
        measures.append(
            Measure(
                "intensity on the axis",
                interval_of(1e3 * value, 1e3 * std, len(each), method),
                "mW/sr",
                "intensity" if math.isfinite(current_a) else None,
            )
        )
        if math.isfinite(current_a):
            given = interval_of(1e3 * current_a, math.nan, 1, "as given")
            measures.append(Measure("current", given, "mA", "test_current"))
        else:
            reasons.append("without --current, the intensity is not written for the shelf")
    return measures, reasons, ratios


@dataclass(frozen=True)
class _Beam:
    measure: Measure
    reason: str
    drawing: Drawing


def _beam(readings: Sequence[_Reading]) -> _Beam | None:
    """Half angle of the emitter that was turned to the most angles."""
    turned: dict[str, list[_Reading]] = {}
    for reading in readings:
        if reading.usable:
            turned.setdefault(reading.who, []).append(reading)
    if not turned:
        return None
    who, most = max(turned.items(), key=lambda item: len({r.angle_rad for r in item[1]}))
    if len({reading.angle_rad for reading in most}) < LEAST_ANGLES:
        return None
    angle = np.array([reading.angle_rad for reading in most])
    flux = np.array([reading.flux for reading in most])
    std = np.array([reading.std for reading in most])
    peak, off, half, half_std, freedom = _lobe(angle, flux, std)
    model = _cosine(angle - off, half) * peak
    departure = float(np.max(np.abs(flux - model))) / peak
    method = "cosᵐ lobe by least squares"
    reason = (
        f"{who}: the lobe's axis lies {math.degrees(off):+.1f}° from where it was taken to be, "
        f"and the light departs from it by {departure:.0%} of its peak at most"
    )
    if departure > MISFIT:
        half, half_std = _between(angle, flux)
        method, freedom = "read off between the angles measured", math.inf
        reason += "; so the half angle was read off between the angles"
    value = interval_of(math.degrees(half), math.degrees(half_std), len(most), method, freedom)
    field = "half_angle" if math.isfinite(half) and math.isfinite(half_std) else None
    fine = np.linspace(angle.min(), angle.max(), 60)
    return _Beam(
        Measure(f"{who}, half angle", value, "deg", field),
        reason,
        Drawing(
            f"Beam of {who}",
            "angle [°]",
            "light, of the peak",
            tuple(
                (math.degrees(float(a)), float(f) / peak) for a, f in zip(angle, flux, strict=True)
            ),
            tuple(float(each) / peak for each in std),
            tuple(
                (math.degrees(float(a)), float(v))
                for a, v in zip(fine, _cosine(fine - off, half), strict=True)
            )
            if departure <= MISFIT
            else (),
            "cosᵐ lobe",
        ),
    )


def _cosine(angle: Array, half: float) -> Array:
    """The lobe cosᵐ that falls to half at an angle."""
    exponent = math.log(0.5) / math.log(math.cos(half))
    return np.asarray(np.maximum(np.cos(angle), 1e-9) ** exponent)


def _lobe(angle: Array, flux: Array, std: Array) -> tuple[float, float, float, float, float]:
    """Peak, axis, half angle, its standard uncertainty, and degrees of freedom.

    The axis is fitted only where the emitter was turned to both sides.
    """
    both = angle.min() < -0.05 and angle.max() > 0.05 and len(angle) > LEAST_ANGLES
    begin = np.array([math.log(flux.max()), 0.45, 0.0])[: 3 if both else 2]

    def left(parameters: Array) -> Array:
        off = parameters[2] if both else 0.0
        return np.asarray(
            (math.exp(parameters[0]) * _cosine(angle - off, parameters[1]) - flux) / std
        )

    low, high = [-np.inf, 0.02, -0.6], [np.inf, 1.5, 0.6]
    found = optimize.least_squares(left, begin, bounds=(low[: len(begin)], high[: len(begin)]))
    freedom = max(len(angle) - len(begin), 1)
    stretch = max(1.0, float(np.sum(found.fun**2)) / freedom)
    cov = np.linalg.pinv(found.jac.T @ found.jac) * stretch
    off = float(found.x[2]) if both else 0.0
    return (
        math.exp(float(found.x[0])),
        off,
        float(found.x[1]),
        math.sqrt(float(cov[1, 1])),
        # Placing, not scatter, sets the uncertainty where the fit is better than it.
        math.inf if stretch == 1.0 else float(freedom),
    )


def _between(angle: Array, flux: Array) -> tuple[float, float]:
    """Half angle read off between the angles; its doubt is half the step there over √3."""
    order = np.argsort(np.abs(angle))
    turned, relative = np.abs(angle)[order], flux[order] / flux.max()
    below = np.flatnonzero(relative < 0.5)
    if not len(below) or below[0] == 0:
        return math.nan, math.nan
    at = int(below[0])
    part = (relative[at - 1] - 0.5) / max(relative[at - 1] - relative[at], 1e-9)
    step = float(turned[at] - turned[at - 1])
    return float(turned[at - 1] + part * step), 0.5 * step / math.sqrt(3.0)


def _verdict(
    readings: Sequence[_Reading], wrong: frozenset[str], ratios: dict[str, float], beam: bool
) -> str:
    names = sorted({reading.who for reading in readings})
    dark = sorted(
        {r.who for r in readings if not r.alive and abs(r.angle_rad) <= math.radians(5.0)}
    )
    told = [f"the wrong way round: {', '.join(sorted(wrong))}"] if wrong else []
    if lost := [who for who in dark if who not in wrong]:
        told.append(f"not seen: {', '.join(lost)}")
    if told:
        return "; ".join(told)
    if not names:
        return "as wired, none was filmed"
    parts = [f"{len(names)} alive" if len(names) > 1 else f"{names[0]} is alive"]
    if ratios:
        apart = max(ratios.values()) / min(ratios.values()) - 1.0
        parts.append(
            "of like brightness"
            if apart < ALIKE
            else f"the brightest by {apart:.0%} over the least"
        )
    if beam:
        parts.append("beam measured")
    return ", ".join(parts)


def _findings(readings: Sequence[_Reading]) -> list[Finding]:
    findings = []
    for reading in readings:
        straight = abs(reading.angle_rad) <= math.radians(5.0)
        if not reading.alive and straight:
            findings.append(
                warning(
                    "emitter-dark",
                    f"emitters: {reading.who}",
                    "",
                    "was not seen",
                    "look, with the supply off: is it the right way round (the longer leg to "
                    "plus, common practice), is its resistor too large, the cell flat, the "
                    "solder joint broken? Then turn it toward the lens and film again, and with "
                    f'its leads changed over in a take "{reading.who} swapped"',
                )
            )
        elif reading.alive and not reading.usable:
            findings.append(
                warning(
                    "emitter-white",
                    f"emitters: {reading.who}",
                    f"{reading.light.saturated} white frames",
                    "is too bright to be measured",
                    "shorten the exposure or step back, and film it again",
                )
            )
    if all(math.isnan(reading.distance_m) for reading in readings) and len(readings) > 1:
        findings.append(
            note(
                "distance-untold",
                "emitters",
                "",
                "are compared as if all had stood at one distance",
                'tell it in the names of the takes, as "wren 1.5 m 0 deg"',
            )
        )
    return findings
