"""What an estimate is off by on average, found by drawing the same sightings anew.

How a head is turned changes what is seen of it not in proportion: the likeliest distance of two
lights is then off on average by more than its own doubt, however many looks are taken (the pose of
each look is an unknown of its own). The same looks, drawn anew from the estimate and solved again,
show by how much; and how far the answers really scatter.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from rushlight.physics.geometry.rotation import matrix_from_rotation_vector, pose_matrix
from rushlight.physics.geometry.sight import sight_of
from rushlight.records.arrays import Array
from rushlight.register.space_lengths import found_without_belief
from rushlight.register.space_marks import Sightings, marks_model
from rushlight.register.space_solve import Known, Shared, Solved, solve

DRAWS = 25  # of a registration's rows anew (our choice)


def redrawn(
    rows: Sightings, known: Known, shared: Shared, poses: Array, draw: np.random.Generator
) -> tuple[Sightings, Array]:
    """The same rows as they might have been: held, turned and seen anew.

    Parameters
    ----------
    rows
        As seen.
    known, shared, poses
        The belief and the estimate, which is taken for true here.
    draw
        Source of random numbers.
    """
    count = known.spread.shape[1]
    off = shared.units[count:].reshape(-1, 3)
    lights = rows.lights_m + off[: len(rows.lights_m)] * rows.lights_std_m[:, None]
    points = rows.points_m + off[len(rows.lights_m) :] * rows.points_std_m[:, None]
    anew = np.array(poses)
    for i, anchor in enumerate(rows.anchors):
        arm, rotation = points[rows.point[i]], poses[i, :3, :3]
        at = anchor.axes @ (poses[i, :3, 3] + rotation @ arm - anchor.place_m)
        at[: anchor.held] = draw.normal(size=anchor.held) * anchor.std_m[: anchor.held]
        if anchor.held == 2:
            turn = matrix_from_rotation_vector(draw.normal(size=3) * anchor.turn_std_rad)
            rotation = turn @ anchor.rotation
        anew[i] = pose_matrix(rotation, anchor.place_m + anchor.axes.T @ at - rotation @ arm)
    spots = np.matvec(anew[:, None, :3, :3], lights[rows.light]) + anew[:, None, :3, 3]
    cameras = shared.cameras
    px = sight_of(
        spots, cameras.K[rows.camera], cameras.k[rows.camera], cameras.pose[rows.camera]
    ).px
    noise = np.zeros(px.shape)
    root = np.linalg.cholesky(rows.px_cov[rows.seen])
    noise[rows.seen] = np.matvec(root, draw.normal(size=(int(rows.seen.sum()), 2)))
    return replace(rows, px=np.where(rows.seen[..., None], px + noise, np.nan)), anew


def spacing_redrawn(
    rows: Sightings, known: Known, solved: Solved[Array], direction: Array, draws: int = DRAWS
) -> tuple[float, float]:
    """How far is a distance of two lights off what was told, freed of what it is off on average?

    Parameters
    ----------
    rows, known, solved
        The used rows, the belief and the estimate.
    direction
        (S,) how the distance moves with the shared numbers' units [m].

    Returns
    -------
    off_m, std_m
        Found less told [m], and its deviation as the draws scatter [m]; NaN where the sightings
        tell nothing of it.

    Notes
    -----
    Source: the parametric bootstrap's estimate of bias, Efron & Tibshirani, "An Introduction to
    the Bootstrap", 1993, section 10.3 (from memory).
    """
    off, std = found_without_belief(direction, solved.shared.units, solved.unit_cov)
    if not np.isfinite(std):
        return off, std
    draw = np.random.default_rng(0)
    true = float(direction @ solved.shared.units)
    found = []
    for _ in range(draws):
        anew, poses = redrawn(rows, known, solved.shared, solved.own, draw)
        try:
            again = solve(known, marks_model(known, anew), poses)
        except ValueError:
            continue
        each, known_std = found_without_belief(direction, again.shared.units, again.unit_cov)
        if np.isfinite(known_std):
            found.append(each - true)
    if len(found) < draws // 2:
        return float("nan"), float("nan")
    scatter = max(float(np.std(found, ddof=1)), std)
    return off - float(np.mean(found)), scatter * float(np.sqrt(1.0 + 1.0 / len(found)))
