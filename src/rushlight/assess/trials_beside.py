"""The rig beside a reference that people used on the same page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rushlight.assess.reference import LOWER_IS_BETTER
from rushlight.errors import Finding
from rushlight.physics.comparison import relative_performance
from rushlight.physics.uncertainty import coverage_factor
from rushlight.records.assessment import RelativePerformanceRow
from rushlight.records.figure import Figure
from rushlight.records.trials import Sitting

_LOWER_IS_BETTER = LOWER_IS_BETTER | {"movement-time", "task-error-rate", "view-angle"}
_NO_CRITERION = frozenset({"effective-width"})


@dataclass(frozen=True)
class SittingsBeside:
    """Rows of rig over reference, and what to know of them."""

    reference: str
    rows: list[RelativePerformanceRow]
    findings: list[Finding]


def beside_measured(
    sittings: Sequence[Sitting], figures: Sequence[Figure]
) -> SittingsBeside | None:
    """The rig's figures over those of the reference, each as people reached it.

    Parameters
    ----------
    sittings
        With one device in the role of the reference.
    figures
        Of all of them; those of the rig bear no carried thing.

    Returns
    -------
    SittingsBeside or None
        None unless both were tried.
    """
    devices = {each.device: each for each in sittings if each.role == "reference"}
    if not devices or not any(each.role == "rig" for each in sittings):
        return None
    device, sitting = next(iter(sorted(devices.items())))
    # What people reached counts where an invented hand tried the same.
    last = sorted(figures, key=lambda each: each.basis == "measured")
    theirs = {_key(each): each for each in last if each.scope.carried == device}
    own = {_key(each): each for each in last if each.scope.carried is None}
    rows = [
        _row(ours, theirs[key], sitting.device_name)
        for key, ours in own.items()
        if ours.name not in _NO_CRITERION
        if key in theirs and _is_above_0(ours) and _is_above_0(theirs[key])
    ]
    findings = []
    if len(devices) > 1:
        findings.append(
            Finding(
                "warning", "references-several", "assess", ", ".join(sorted(devices)),
                f"are all called the reference, and {device} was taken",
                "assess the rig beside one reference at a time",
            )
        )  # fmt: skip
    return SittingsBeside(sitting.device_name, rows, findings)


def _is_above_0(figure: Figure) -> bool:
    """Else there is no ratio."""
    return figure.value is not None and figure.value > 0


def _key(figure: Figure) -> tuple[str, str, str | None]:
    return figure.name, figure.statistic, figure.scope.condition


def _log_std(figure: Figure) -> float:
    if figure.low is None or figure.high is None or figure.level is None or figure.low <= 0:
        return float("nan")
    return float(np.log(figure.high / figure.low) / (2.0 * coverage_factor(figure.level)))


def _row(ours: Figure, theirs: Figure, name: str) -> RelativePerformanceRow:
    value, other = ours.value or float("nan"), theirs.value or float("nan")
    own_std, other_std = _log_std(ours), _log_std(theirs)
    found = relative_performance(
        value,
        other,
        ours.name in _LOWER_IS_BETTER,
        rig_std=own_std * value,
        reference_std=other_std * other,
    )
    known = bool(np.isfinite(found.log_std))
    reading = ["both as people reached them on the same page"]
    if ours.scope.condition:
        reading.append(ours.scope.condition)
    if "simulated" in (ours.basis, theirs.basis):
        reading.append("invented hands: nothing is said of people")
    if not known:
        reading.append("no interval: too few people")
    return RelativePerformanceRow(
        name=ours.name,
        statistic=ours.statistic,
        condition=ours.scope.condition or "",
        unit=ours.unit,
        rig_value=value,
        rig_basis=ours.basis,
        reference_value=other,
        reference_basis=theirs.basis,
        reference_source=f"{name}, sittings of people",
        lower_is_better=ours.name in _LOWER_IS_BETTER,
        ratio=float(found.ratio),
        low=float(found.low) if known else None,
        high=float(found.high) if known else None,
        level=found.level if known else None,
        log_std=float(found.log_std) if known else None,
        reading="; ".join(reading),
    )
