"""What is told of a tuning: how it was found and chosen, and what speaks against it."""

from __future__ import annotations

from rushlight.errors import Finding
from rushlight.records.tuning import TunedPoint
from rushlight.track.foretell import HAND_AGILITY_M2_S3
from rushlight.track.recorded import (
    MOVING_S,
    MOVING_SHARE,
    MOVING_SIGMAS,
    REST_S,
    REST_SHARE,
    REST_SIGMAS,
    SETTLE_S,
)
from rushlight.track.tune import (
    AGILITIES_PX2_S3,
    CUTOFFS_HZ,
    FEWEST_UNITS,
    LAGS_S,
    PIECE_S,
    RESAMPLES,
    SPEED_GAINS,
)


def rules(most_lag_ms: float | None, mapped: bool) -> list[str]:
    """How everything was found and chosen, in sentences.

    Parameters
    ----------
    most_lag_ms
        The limit [ms], None for the knee.
    mapped
        Whether places on the surface were known.
    """
    told = [
        f"rest: slower than rest_below_px_s for {REST_S:g} s or longer, its first {SETTLE_S:g} s "
        f"left out so that filters have settled; rest_below_px_s is {REST_SHARE:.0%} of the speed "
        f"that 99 % of the dots do not reach, or {REST_SIGMAS:g} deviations of a speed by noise "
        "alone, whichever is more",
        f"motion: faster than moving_above_px_s for {MOVING_S:g} s or longer, which is "
        f"{MOVING_SHARE:.0%} of that speed, or {MOVING_SIGMAS:g} such deviations",
        "jitter: root-mean-square distance of the smoothed place from its mean over each rest; "
        "what the hand itself sways is in it, and what a slow filter still creeps by then",
        f"lag: the shift of {1e3 * LAGS_S[0]:g} to {1e3 * LAGS_S[-1]:g} ms that lays the smoothed "
        "trail best on the raw one in moving stretches, by least squares, between steps of 1 ms "
        "by a parabola",
        "slow lag: the same on the slowest third of the pieces of motion, where filters that open "
        "with speed lag most; slower motion still lags more",
        "stray: what is left after the shift, in time at the root-mean-square speed: corners cut "
        "and overshot",
        "late: the greatest of lag, the ends of its interval, slow lag, and stray",
        f"intervals: 95 %, by drawing rests, or pieces of motion of {PIECE_S:g} s, anew "
        f"{RESAMPLES} times (percentiles); none below {FEWEST_UNITS} of them",
    ]
    if most_lag_ms is None:
        told.append("chosen: the knee, furthest below the line between the ends of the curve")
    else:
        told.append(f"chosen: the least jitter of what is at most {most_lag_ms:g} ms late")
    if mapped:
        told.append(
            "ahead: place and speed by a Kalman filter on the surface, with an acceleration of "
            f"{HAND_AGILITY_M2_S3:g} m²/s³, compared with the later measured places in motion"
        )
    return told


def recording_findings(
    where: str,
    *,
    simulated: bool,
    has_intervals: bool,
    mapped: bool,
    beyond: int,
    left_out: int,
    most_dots: int,
) -> list[Finding]:
    """What the recording itself leaves open.

    Parameters
    ----------
    where
        Names of the sessions.
    simulated, has_intervals, mapped
        Whether it is simulated, allowed intervals, and told places on the surface.
    beyond
        Number of settings whose lag is beyond those looked for.
    left_out, most_dots
        Number of trails that were not tried, and of dots after which none is.
    """
    findings = []
    if simulated:
        findings.append(
            Finding(
                "warning", "simulated", "tune", "",
                "rests on simulated footage: its hands and noise are drawn, and the choice holds "
                "for them",
                "tune with a recording of the built rig",
            )
        )  # fmt: skip
    if not has_intervals:
        findings.append(
            Finding(
                "warning", "tune-few", where, "",
                f"holds fewer than {FEWEST_UNITS} rests or pieces of motion, so that intervals "
                "are missing", "record more of both",
            )
        )  # fmt: skip
    if not mapped:
        findings.append(
            Finding(
                "note", "tune-px", where, "",
                "tells no map of the surface by fixes spread over it, so that everything is in "
                "px and nothing is foretold",
                "run it with a registration, and with lights all over the surface",
            )
        )  # fmt: skip
    if beyond:
        findings.append(
            Finding(
                "note", "tune-beyond", where, f"{beyond} settings",
                f"lag more than {1e3 * LAGS_S[-1]:g} ms and are left out", "",
            )
        )  # fmt: skip
    if left_out:
        findings.append(
            Finding(
                "note", "tune-trails", where, f"{left_out} trails",
                "were not tried: they neither rest nor move for long enough, or come after "
                f"{most_dots} dots", "",
            )
        )  # fmt: skip
    return findings


def choice_findings(chosen: TunedPoint, most_lag_ms: float | None) -> list[Finding]:
    """What speaks against the choice.

    Parameters
    ----------
    chosen
        The point.
    most_lag_ms
        The limit [ms], None for the knee.
    """
    findings = []
    if most_lag_ms is not None and chosen.filter == "none":
        findings.append(
            Finding(
                "note", "tune-none", "--most-lag", f"{most_lag_ms:g} ms",
                "is kept by no filter that is steadier than none", "allow more lag, or run plain",
            )
        )  # fmt: skip
    ends = {
        "cutoff": (chosen.cutoff_hz, CUTOFFS_HZ),
        "speed_gain": (chosen.speed_gain, SPEED_GAINS),
        "agility": (chosen.agility_px2_s3, AGILITIES_PX2_S3),
    }
    for name, (value, tried) in ends.items():
        # A gain of 0 is an end that nothing lies beyond.
        if value in (tried[0], tried[-1]) and value:
            findings.append(
                Finding(
                    "note", "tune-end", f"smoothing.{name}", f"{value:g}",
                    "lies at the end of what was tried, and the best may lie beyond", "",
                )
            )  # fmt: skip
    return findings
