"""The step "noise": black level, gain, read noise, full well, hot and dead pixels."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from rushlight.capture.depth import Levels
from rushlight.errors import Finding, RushlightError
from rushlight.inspect.darkness import Black, odd_pixels
from rushlight.inspect.exposure import proportion
from rushlight.inspect.result import (
    Drawing,
    Measure,
    StepResult,
    digits,
    interval_of,
    note,
    warning,
)
from rushlight.inspect.takes import Take, eight_bit, own_stack, same_size
from rushlight.inspect.transfer import (
    ROUNDING_DN2,
    Line,
    Points,
    bands_between,
    clipping_level,
    fit_line,
    neighbours_share_noise,
    points_of,
)

MOST_PICTURES = 32
"""Pictures of a take that are used; more would hardly narrow the intervals. No source."""

UNKNOWN_BLACK_DN = 2.0
"""Standard uncertainty of a black level that was not measured, in levels of 8 bits: as on the
built-in shelf."""

NEIGHBOURS_ALIKE = 0.1
"""Correlation of neighbours' noise above which pixels are taken not to be the sensor's own; no
source."""

BANDS = 3.0
"""Ratio from which a lamp is said to flicker (about 1 ± 0.1 without; no source)."""

BRIGHT_SHARE = 0.8
"""Part of full scale above which a take does not tell how levels grow; no source."""


def noise(
    takes: Sequence[Take], camera_gain: float = 1.0, shelf_black_dn: float = 0.0
) -> StepResult:
    """How noisy a sensor is, and how many electrons a grey level stands for.

    Parameters
    ----------
    takes
        One or more with the word "dark" in their name, lens covered; two or more lit ones of
        different brightness, or one of a sheet that is lit unevenly. The camera stands still.
    camera_gain
        The camera's gain while filming; the full well of the shelf is that at a gain of 1.
    shelf_black_dn
        Black level to count from when no dark take is given, in levels of 8 bits [DN].

    Returns
    -------
    StepResult

    Raises
    ------
    RushlightError
        When no take is lit, one has fewer than two pictures, or their sizes or depths differ.

    Notes
    -----
    Pictures deeper than 8 bits are taken in their own levels.
    """
    dark = [own_stack(take, MOST_PICTURES, 2) for take in takes if take.label.dark]
    lit = [own_stack(take, MOST_PICTURES, 2) for take in takes if not take.label.dark]
    if not lit:
        raise RushlightError.of(
            "noise",
            ", ".join(repr(take.name) for take in takes) or "no take",
            "holds no lit take",
            "film a matt white sheet at several exposures, each in its own take",
            "takes-few",
        )
    same_size([*dark, *lit], "noise")
    full_dn = _full_scale_dn(takes, [*dark, *lit])
    # Pixels hot in the dark would fill levels of their own with the wrong noise.
    pixels, usable = odd_pixels(dark, lit, full_dn)
    black = Black(dark, usable, shelf_black_dn, (full_dn + 1) / 256)
    top_dn = clipping_level(lit, full_dn)
    points = points_of(lit[0], usable, full_dn)
    for pictures in lit[1:]:
        points = points.joined(points_of(pictures, usable, full_dn))
    if black.readable:
        for pictures in dark:
            points = points.joined(points_of(pictures, usable, full_dn))
    line = fit_line(points, black.level_dn, top_dn)
    findings = [
        *_doubts(dark, lit, top_dn, full_dn, line),
        *_curve_findings([take for take in takes if not take.label.dark], lit, dark, full_dn),
        *_pixel_findings(pixels),
    ]
    if line is None or line.gain <= 0:
        return StepResult(
            "noise",
            "cannot tell: too few levels between darkness and 70 % of full scale show noise"
            if line is None
            else "cannot tell: noise does not grow with level",
            (
                "film the sheet at four or more exposures, from dim to nearly white; and switch "
                "gamma, noise reduction and compression off if the camera lets you",
            ),
            tuple(black.measures()),
            tuple(findings),
            extra={"size_px": list(lit[0].shape[:0:-1])},
            pixels=pixels,
        )
    own = not any(finding.code in ("neighbours-alike", "levels-curved") for finding in findings)
    result = _result(line, points, black, top_dn, full_dn, camera_gain, own, findings, pixels)
    return replace(result, extra={**result.extra, "size_px": list(lit[0].shape[:0:-1])})


def _full_scale_dn(takes: Sequence[Take], stacks: Sequence[Levels]) -> int:
    """Level at full scale of all takes."""
    deep = {pictures.dtype == np.uint16 for pictures in stacks}
    full_dn = {take.full_scale_dn for take in takes} if True in deep else {255}
    if len(deep) > 1 or len(full_dn) > 1:
        raise RushlightError.of(
            "noise",
            ", ".join(repr(take.name) for take in takes),
            "are takes of different depths",
            "film every take of a step with one setting of the camera",
            "depth-changes",
        )
    return full_dn.pop()


def _result(
    line: Line,
    points: Points,
    black: Black,
    top_dn: float,
    full_dn: int,
    camera_gain: float,
    own: bool,
    findings: list[Finding],
    pixels: tuple[tuple[int, int, str], ...],
) -> StepResult:
    """The numbers of a line that was found; `own` when the picture is as the sensor gave it."""
    method = "photon transfer, weighted line (after EMVA 1288)"
    gain = interval_of(line.gain, line.gain_std, line.points, method)
    trusted = own and not line.bent
    span_dn = full_dn - black.level_dn
    well_e = span_dn / line.gain
    unknown_dn = UNKNOWN_BLACK_DN * (full_dn + 1) / 256
    black_std = unknown_dn if math.isnan(black.std_dn) else black.std_dn
    black_part = black_std / span_dn
    well_std = well_e * math.hypot(line.gain_std / line.gain, black_part)
    well = interval_of(well_e * camera_gain, well_std * camera_gain, line.points, method)
    measures = black.measures()
    measures.append(Measure("gain [DN/e⁻]", gain))
    measures.append(
        Measure(
            "full well at full scale and a gain of 1", well, "e-", "full_well" if trusted else None
        )
    )
    reasons = [
        f"{line.points} levels lie on a line of {digits(line.gain)} ± {digits(line.gain_std)} "
        f"DN²/DN; one grey level is {digits(1 / line.gain)} electrons"
    ]
    if black.given and not black.clipped:
        read, reason = _read_noise(line, black, trusted)
        measures += read
        reasons.append(reason)
    elif black.clipped:
        reasons.append(
            "darkness is cut off at 0, so black level and read noise stay unknown; raise the "
            "camera's brightness or black level setting and film again"
        )
    else:
        reasons.append("without a dark take, black level and read noise stay unknown")
    if line.bent:
        reasons.append(
            "no straight line fits, as gamma, compression or smoothing of the picture have it; "
            "the gain is that of the picture and not the sensor's, and nothing is written for "
            "the shelf"
        )
    if not own:
        reasons.append(
            "the picture was worked on after the sensor, so the gain is the picture's and not the "
            "sensor's, and nothing is written for the shelf"
        )
    doubt = (
        "noise does not grow in a line with level"
        if line.bent
        else "the picture is not as the sensor gave it"
    )
    return StepResult(
        "noise",
        "the gain is known" if trusted else f"cannot tell: {doubt}",
        tuple(reasons),
        tuple(measures),
        tuple(findings),
        extra=_extra(line, points, top_dn),
        drawing=_drawing(line, points, black.level_dn, top_dn),
        pixels=pixels,
    )


def _read_noise(line: Line, black: Black, trusted: bool) -> tuple[list[Measure], str]:
    """Read noise from where the line meets darkness, or its upper bound."""
    # What is not known of the dark level moves the floor along the line.
    floor_std = math.sqrt(line.cov[0, 0] + (line.gain * black.std_dn) ** 2)
    left = line.floor - ROUNDING_DN2
    if left < 3.0 * floor_std:
        most = math.sqrt(max(left, 0.0) + 2.0 * floor_std) / line.gain
        return [], f"read noise is lost in the rounding to whole levels: below {digits(most)} e⁻"
    read_dn = math.sqrt(left)
    by_floor = floor_std / (2.0 * read_dn * line.gain)
    by_gain = read_dn * line.gain_std / line.gain**2
    both = -line.cov[0, 1] * (1 / (2 * read_dn * line.gain)) * (2 * read_dn / line.gain**2)
    std = math.sqrt(max(by_floor**2 + by_gain**2 + both, 0.0))
    method = "photon transfer: noise at darkness, 1/12 DN² of rounding taken off"
    value = interval_of(read_dn / line.gain, std, line.points, method)
    measure = Measure("read noise", value, "e-", "read_noise" if trusted else None)
    return [measure], f"in the dark a pixel is uncertain by {digits(read_dn)} grey levels"


def _pixel_findings(pixels: Sequence[tuple[int, int, str]]) -> list[Finding]:
    hot = sum(what == "hot" for _, _, what in pixels)
    dead = len(pixels) - hot
    if not pixels:
        return []
    return [
        note(
            "pixels-odd",
            "noise: pixels",
            f"{hot} hot, {dead} dead",
            "stand out among their neighbours; dots upon them are less exact",
            "see their map and list; the detector passes over single hot pixels",
        )
    ]


def _doubts(
    dark: Sequence[Levels],
    lit: Sequence[Levels],
    top_dn: float,
    full_dn: int,
    line: Line | None,
) -> list[Finding]:
    findings = []
    middling = min(lit, key=lambda pictures: abs(float(pictures.mean()) - 0.4 * top_dn))
    alike = neighbours_share_noise(middling)
    if abs(alike) > NEIGHBOURS_ALIKE:
        findings.append(
            warning(
                "neighbours-alike",
                "noise: pixels",
                f"correlation {alike:.2f}",
                "says that neighbouring pixels share their noise: the picture was interpolated "
                "from colour filters, scaled, smoothed or compressed",
                "film raw or monochrome pictures of full size; until then the gain is that of "
                "the picture, not of the sensor",
            )
        )
    if any(bands_between(pictures) > BANDS for pictures in (*dark, *lit)):
        findings.append(
            warning(
                "light-flickers",
                "noise: light",
                "",
                "changes from row to row between two pictures, which adds to the noise",
                "use daylight or a lamp on direct current, and film again",
            )
        )
    if top_dn < full_dn:
        findings.append(
            warning(
                "clips-early",
                "noise: full scale",
                f"{top_dn:.0f} DN",
                f"is where pixels clip, below the {full_dn} that the plan supposes",
                "set the camera to its full range of levels if it has a choice",
            )
        )
    if not dark:
        findings.append(
            warning(
                "dark-missing",
                "noise: takes",
                "",
                "hold no dark one",
                'cover the lens and film a take named "dark" with the same settings',
            )
        )
    if line is not None and line.misfit > 3.0 and not line.bent:
        findings.append(
            warning(
                "line-rough",
                "noise: line",
                f"chi-square {line.misfit:.1f} a degree of freedom",
                "says that the levels scatter more about the line than chance would",
                "keep lamp and camera still; the intervals were widened for it",
            )
        )
    return findings


def _curve_findings(
    takes: Sequence[Take], lit: Sequence[Levels], dark: Sequence[Levels], full_dn: int
) -> list[Finding]:
    """A warning where the takes tell their exposures and levels do not grow with them.

    A gamma curve bends noise and level alike, so that their line alone may not betray it.
    """
    told = sorted(
        (take.label.exposure_s, index)
        for index, take in enumerate(takes)
        if math.isfinite(take.label.exposure_s)
        and float(np.median(lit[index])) < BRIGHT_SHARE * full_dn
    )
    asked_s = np.array([exposure_s for exposure_s, _ in told])
    if len(np.unique(asked_s)) < 3 or not dark:
        return []
    found = proportion(
        asked_s,
        [eight_bit(lit[index], full_dn) for _, index in told],
        [eight_bit(pictures, full_dn) for pictures in dark],
    )
    if not found.verdict.startswith("not in proportion"):
        return []
    return [
        warning(
            "levels-curved",
            "noise: levels",
            found.measures[0].text,
            "is the power by which they grow with the exposures told, which should be 1",
            "switch gamma and automatic gain off, or name the takes by their true exposures",
        )
    ]


def _extra(line: Line, points: Points, top_dn: float) -> dict[str, Any]:
    return {
        "clipping_level_dn": top_dn,
        "floor_dn2": line.floor,
        "bend_per_dn": None if math.isnan(line.bend) else line.bend,
        "misfit": line.misfit,
        "points": [
            {"level_dn": round(float(level), 3), "variance_dn2": round(float(variance), 5)}
            for level, variance in zip(points.level_dn, points.variance_dn2, strict=True)
        ],
    }


def _drawing(line: Line, points: Points, dark_dn: float, top_dn: float) -> Drawing:
    """The photon-transfer curve."""
    pairs = zip(points.level_dn, points.variance_dn2, strict=True)
    end = dark_dn + 0.7 * (top_dn - dark_dn)
    return Drawing(
        "Noise against level (photon transfer)",
        "grey level above darkness [DN]",
        "variance of a pixel [DN²]",
        tuple((float(level) - dark_dn, float(variance)) for level, variance in pairs),
        line=((0.0, line.floor), (end - dark_dn, line.floor + line.gain * (end - dark_dn))),
        line_name=f"{digits(line.gain)} DN²/DN",
    )
