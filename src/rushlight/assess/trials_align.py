"""The view task done by a person: how well, and how soon, marks were brought in line."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from rushlight.assess.intervals import LEVEL
from rushlight.assess.space_view import ARCMINUTES, angle
from rushlight.physics.uncertainty import rms, t_interval
from rushlight.records.document import Basis
from rushlight.records.figure import Figure, Scope
from rushlight.records.space_assessment import ViewTrial
from rushlight.records.trials import TrialRun

CONDITION = "view task by a person: near mark brought in line with a far one"


def align_trials(run: TrialRun, name: str, basis: Basis) -> list[ViewTrial]:
    """The trials of a run, with the angle left between the marks at the eye drawn for.

    Parameters
    ----------
    run
        Of the view task.
    name
        Of the run.
    basis
        Measured or simulated.
    """
    return [
        ViewTrial(
            session=name,
            near_m=trial.near_m,
            far_m=trial.far_m,
            error_rad=float(
                angle(
                    np.array([np.subtract(trial.near_m, trial.end_m)]),
                    np.array([np.subtract(trial.far_m, trial.end_m)]),
                )[0]
            ),
            time_s=(trial.said_ns - trial.shown_ns) * 1e-9,
            perfect_error_rad=float("nan"),
            perfect_time_s=float("nan"),
            basis=basis,
        )
        for trial in run.align
    ]


def align_figures(trials: Sequence[ViewTrial], scope: Scope) -> list[Figure]:
    """Angle left and time taken, over trials.

    Parameters
    ----------
    trials
        Of one device; fewer than two give nothing.
    scope
        What they speak of.
    """
    if len(trials) < 2:
        return []
    scale, unit = ARCMINUTES
    left = np.array([trial.error_rad for trial in trials]) * scale
    took = np.array([trial.time_s for trial in trials])
    squares, times = t_interval(left**2, LEVEL), t_interval(took, LEVEL)
    ours = scope.model_copy(update={"condition": CONDITION})
    method = (
        "angle between the marks at the eye for which the picture was drawn: a true eye elsewhere "
        "is not told by it; "
    )
    return [
        Figure(
            name="view-angle",
            statistic="rms",
            value=float(rms(left)),
            unit=unit,
            low=float(np.sqrt(max(squares.low, 0.0))),
            high=float(np.sqrt(max(squares.high, 0.0))),
            method=method + squares.method,
            scope=ours,
            level=LEVEL,
            n=len(trials),
            basis=trials[0].basis,
        ),
        Figure(
            name="movement-time",
            statistic="mean",
            value=float(times.value),
            unit="s",
            low=float(times.low),
            high=float(times.high),
            method="from the marks coming up until the person said that they stood in line; "
            + times.method,
            scope=ours,
            level=LEVEL,
            n=len(trials),
            basis=trials[0].basis,
        ),
    ]
