"""How often things could be turned otherwise than they were taken to be."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from rushlight.assess.space_recording import SpaceRecording
from rushlight.records.arrays import Array
from rushlight.records.figure import Figure, Scope, Statistic
from rushlight.records.space import ResolvedSpace


def twin_figures(
    recordings: Sequence[SpaceRecording], scope: Scope, space: ResolvedSpace | None
) -> list[Figure]:
    """Share of fixes with more than one possible pose, and the largest weight of the second.

    Parameters
    ----------
    recordings
        Of one rig; all fixes of a thing count alike.
    scope
        What the figures speak of.
    space
        The rig, by which things of three lights are known; without it only what had more than
        one pose is told of.
    """
    three = {
        thing.id
        for thing in (space.things if space else ())
        if thing.solved_as == "pose" and len(thing.lights) == 3
    }
    found: dict[str, list[Array]] = {}
    for recording in recordings:
        for carried, track in recording.tracks.items():
            found.setdefault(carried, []).append(track.second)
    figures = []
    for carried, each in found.items():
        second = np.concatenate(each)
        if carried not in three and not np.any(second > 0.0):
            continue
        lines: tuple[tuple[Statistic, float, str], ...] = (
            ("share", float(np.mean(second > 0.0)), "fixes with another possible pose or name"),
            ("max", float(second.max()), "largest weight of one beside the one taken"),
        )
        figures += [
            Figure(
                name="other-pose",
                statistic=statistic,
                scope=scope.model_copy(update={"carried": carried}),
                unit="%",
                value=100.0 * value,
                n=len(second),
                method=f"{what}; neighbouring frames go together, so there is no interval",
                basis=recordings[0].basis,
            )
            for statistic, value, what in lines
        ]
    return figures
