"""What a plan warns of, each with what to do about it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rushlight.errors import Finding
from rushlight.plan.error import LEAST_BEACONS
from rushlight.plan.evaluate import Evaluation
from rushlight.plan.figures import Names
from rushlight.plan.light import FAINTEST_PEAK
from rushlight.records.resolved import ResolvedRig
from rushlight.records.safety import EyeLine

Array = NDArray[Any]

NARROWEST_PX = 0.5
"""Below this width a dot's centre depends on where it falls within a pixel (from memory)."""


def evaluation_findings(
    evaluation: Evaluation, resolved: ResolvedRig, names: Names, suitable: bool, file: str
) -> list[Finding]:
    """Warnings about light, view, reach, shadow and registration of the first rig.

    Parameters
    ----------
    evaluation, resolved, names
        Of one rig.
    suitable
        Whether six beacons lie within reach and view.
    file
        Of the rig, to stand in the findings.
    """
    return [
        *_registration(evaluation, suitable, file),
        *_unseen(evaluation, names, file),
        *_light(evaluation, resolved, names, file),
        *_places(evaluation, names, file),
    ]


def eye_findings(lines: Sequence[EyeLine], file: str) -> list[Finding]:
    """A warning for each light that is estimated to pass a limit for the eye.

    Parameters
    ----------
    lines
        Of the plan.
    file
        Of the rig, to stand in the findings.
    """
    worst: dict[str, EyeLine] = {}
    for line in lines:
        known = worst.get(line.light)
        if line.ratio is not None and (known is None or line.ratio > (known.ratio or 0.0)):
            worst[line.light] = line
    return [
        Finding(
            "warning",
            "eye-limit-passed",
            f"{file}: {line.light}",
            f"{100 * (line.ratio or 0.0):.0f} % of a limit for the eye ({line.eye}, {line.where}, "
            f"{line.look})",
            "is more than the published limits allow (an estimate that errs high)",
            "do not build it so: lower the current or take a weaker or wider emitter, and have "
            "the rig judged by a qualified person",
        )
        for line in worst.values()
        if (line.ratio or 0.0) > 1.0
    ]


def _registration(evaluation: Evaluation, suitable: bool, file: str) -> list[Finding]:
    where = f"{file}: cameras"
    if not evaluation.registerable[0]:
        return [
            Finding(
                "error",
                "registration-impossible",
                where,
                "",
                f"see fewer than {LEAST_BEACONS} beacons, too few to vouch for a registration",
                "aim at the middle of the surface, or move farther away",
            )
        ]
    if not suitable:
        return [
            Finding(
                "warning",
                "beacons-out-of-reach",
                f"{file}: people",
                "",
                f"reach fewer than {LEAST_BEACONS} beacons that the camera sees",
                "hang the surface lower, give a longer stylus, or let a taller person register",
            )
        ]
    seen = np.any([view.error.seen_touches[0] for view in evaluation.views], axis=0)
    unseen = int((~seen).sum())
    if unseen == 0:
        return []
    return [
        Finding(
            "note",
            "touch-unseen",
            where,
            f"{unseen} of {seen.size} touches",
            "of the registration are hidden by the toucher's body or out of view; the plan "
            "counts without them",
            "step to the other side of the hand while touching there, and they count too",
        )
    ]


def _unseen(evaluation: Evaluation, names: Names, file: str) -> list[Finding]:
    """An error for each light that is lost in the noise wherever it is in view."""
    found = []
    for index, carried in enumerate(names.carried):
        in_view = evaluation.in_view[0, index]
        most = np.nan_to_num(evaluation.peak_over_noise[0, index])[in_view].max(initial=0.0)
        if in_view.any() and most < 1.0:
            found.append(
                Finding(
                    "error",
                    "light-unseen",
                    f"{file}: {carried}",
                    f"{most:.2g} times the noise",
                    "is all that its light reaches in the picture at any place: no camera of the "
                    "rig sees it",
                    "raise the current within its limit, take a stronger emitter, diffuse the tip "
                    "less or come nearer",
                )
            )
    return found


def _light(evaluation: Evaluation, resolved: ResolvedRig, names: Names, file: str) -> list[Finding]:
    found = []
    cameras = ", ".join(names.cameras)
    exposure = ", ".join(f"{1e3 * one:.3g} ms" for one in evaluation.exposure_s[0])
    where = f"{file}: cameras ({cameras})"
    if evaluation.saturated[0].any():
        peak = np.nanmax(np.where(evaluation.in_view[0], evaluation.grey_peak[0], np.nan))
        shortest = np.all(evaluation.exposure_s <= resolved.cameras.shortest_exposure_s * 1.0001)
        shorter = "" if shortest else 'set exposure = "auto", or '
        found.append(
            Finding(
                "warning",
                "saturated",
                f"{where} exposure",
                exposure,
                f"lets the brightest dot take {100 * peak:.0f} % of full scale",
                f"{shorter}lower the current, diffuse the tip more, add a denser filter or "
                "stop the lens down",
            )
        )
    if (evaluation.weak & ~(evaluation.peak_over_noise >= FAINTEST_PEAK))[0].any():
        told = np.nan_to_num(evaluation.peak_over_noise[0])
        least = np.min(told, where=evaluation.in_view[0], initial=np.inf)
        found.append(
            Finding(
                "warning",
                "too-weak",
                f"{where} exposure",
                exposure,
                f"leaves the weakest dot at {least:.2g} times the noise, where "
                f"{FAINTEST_PEAK:g} are wanted",
                'set exposure = "auto", raise the current within its limit, diffuse the tip less '
                "or come nearer",
            )
        )
    if evaluation.parted[0].any():
        parted = 100.0 * float(evaluation.parted[0].mean())
        found.append(
            Finding(
                "warning",
                "tip-and-glow-parted",
                where,
                "",
                f"parts, at {parted:.0f} % of the places, a stylus's light so far from its glow on "
                "the wall that they do not pass for one dot; there touches may be missed, and none "
                "may be left to register by",
                "set the light nearer to the tip, or take a camera with fewer pixels",
            )
        )
    width = np.nan_to_num(evaluation.sigma_px[0], nan=np.inf)[evaluation.in_view[0]]
    narrowest = width.min(initial=np.inf)
    if narrowest < NARROWEST_PX:
        found.append(
            Finding(
                "note",
                "dot-narrow",
                where,
                f"{narrowest:.2g} px",
                f"is a dot narrower than {NARROWEST_PX:g} px, whose centre depends on where it "
                "falls within a pixel",
                "diffuse the tip more or defocus the lens a little",
            )
        )
    return found


def _places(evaluation: Evaluation, names: Names, file: str) -> list[Finding]:
    found = []
    unseen = 100.0 * float(1.0 - evaluation.in_view[0].mean())
    if unseen > 0.0:
        found.append(
            Finding(
                "warning",
                "out-of-view",
                f"{file}: cameras ({', '.join(names.cameras)})",
                "",
                f"have {unseen:.0f} % of the places out of the picture or too near its edge",
                "aim at the middle of the surface, or move farther away",
            )
        )
    for index, carried in enumerate(names.carried):
        hidden = 100.0 * float(evaluation.hidden[0, index].mean())
        if hidden > 0.0:
            found.append(
                Finding(
                    "warning",
                    "shadow",
                    f"{file}: {carried}",
                    "",
                    f"is hidden from the camera at {hidden:.0f} % of the places by the body of "
                    "whoever touches them (a crude estimate: an upright column beside the hand)",
                    "hang the camera higher or to the other side, or let people stand closer "
                    "to the side",
                )
            )
        reached = 100.0 * float(evaluation.reached[0, index].mean())
        if reached < 100.0:
            found.append(
                Finding(
                    "warning",
                    "out-of-reach",
                    f"{file}: {carried}",
                    "",
                    f"does not reach {100.0 - reached:.0f} % of the places from where its holder "
                    "stands, which the coverage does not take into account",
                    "hang the surface lower, widen the standing place or use a longer stylus",
                )
            )
    if len(names.cameras) > 1:
        found.append(
            Finding(
                "note",
                "several-cameras",
                f"{file}: cameras",
                f"{len(names.cameras)}",
                "are told of one at a time: at every place the one with the least error",
                "read the maps so; no gain from joining the cameras is counted",
            )
        )
    return found
