"""The peers of `linking.py`: two open trackers of points, each with settings to choose from.

It needs nothing of Rushlight, so that it also runs where only a peer is installed:
``python linking_peers.py norfair scenes.npz results.npz``.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

Points = npt.NDArray[np.float64]
Ids = list[npt.NDArray[np.int64]]
Settings = dict[str, float]

MOTPY_SETTINGS: list[Settings] = [
    {"box_px": box, "acceleration": acceleration, "std_px": std, "stale": 40}
    for box in (40, 64, 100)
    for acceleration in (3e3, 1e4, 3e4)
    for std in (0.02, 0.05, 0.15)
]
NORFAIR_SETTINGS: list[Settings] = [
    {"reach_px": reach, "R": R, "Q": Q, "stale": 40}
    for reach in (30, 60, 100)
    for R in (0.001, 0.01, 0.1)
    for Q in (0.03, 0.1, 0.3)
]


def with_motpy(
    frames: Sequence[Points], period_s: float, confirm: int, settings: Settings
) -> tuple[Ids, list[float]]:
    """Ids of all dots by motpy, −1 for none, and the time that each frame took [s].

    Its boxes are squares about the dots. It does not tell which dot a box was made of: the dot
    nearest to a track's box within half a box is taken, one to one.
    """
    from motpy import Detection, MultiObjectTracker

    tracker = MultiObjectTracker(
        dt=period_s,
        model_spec={
            "order_pos": 1,
            "dim_pos": 2,
            "order_size": 0,
            "dim_size": 2,
            "q_var_pos": settings["acceleration"] ** 2,
            "r_var_pos": settings["std_px"] ** 2,
        },
        tracker_kwargs={"max_staleness": settings["stale"]},
        matching_fn_kwargs={"min_iou": 0.01},
        active_tracks_kwargs={"min_steps_alive": confirm, "max_staleness": settings["stale"]},
    )
    half = settings["box_px"] / 2
    numbers: dict[str, int] = {}
    ids, times = [], []
    for points in frames:
        boxes = np.hstack([points - half, points + half])
        begin = time.perf_counter()
        tracks = tracker.step([Detection(box=box) for box in boxes])
        times.append(time.perf_counter() - begin)
        at = [(track.box[:2] + track.box[2:]) / 2 for track in tracks]
        names = [numbers.setdefault(track.id, len(numbers)) for track in tracks]
        ids.append(_nearest(points, np.array(at).reshape(-1, 2), names, half))
    return ids, times


def _nearest(points: Points, at: Points, names: list[int], within: float) -> Any:
    """The name of each point by the nearest place, each place serving one point."""
    given = np.full(len(points), -1)
    gap = np.linalg.norm(points[:, None] - at[None], axis=-1)
    while gap.size and gap.min() < within:
        point, place = np.unravel_index(int(gap.argmin()), gap.shape)
        given[point] = names[int(place)]
        gap[point, :] = gap[:, place] = np.inf
    return given


def with_norfair(
    frames: Sequence[Points], period_s: float, confirm: int, settings: Settings
) -> tuple[Ids, list[float]]:
    """Ids of all dots by norfair, −1 for none, and the time that each frame took [s].

    Its time runs in frames, so `period_s` is not used.
    """
    from norfair import Detection, OptimizedKalmanFilterFactory, Tracker

    tracker = Tracker(
        distance_function="euclidean",
        distance_threshold=settings["reach_px"],
        hit_counter_max=int(settings["stale"]),
        initialization_delay=confirm - 1,
        filter_factory=OptimizedKalmanFilterFactory(R=settings["R"], Q=settings["Q"]),
    )
    ids, times = [], []
    for points in frames:
        detections = [Detection(points=point[None].copy()) for point in points]
        begin = time.perf_counter()
        tracked = tracker.update(detections)
        times.append(time.perf_counter() - begin)
        name = {id(one.last_detection): one.id for one in tracked}
        ids.append(np.array([name.get(id(one), -1) for one in detections], np.int64))
    return ids, times


PEERS: dict[str, tuple[Callable[..., tuple[Ids, list[float]]], list[Settings]]] = {
    "motpy": (with_motpy, MOTPY_SETTINGS),
    "norfair": (with_norfair, NORFAIR_SETTINGS),
}


def main() -> None:
    """Run a peer over scenes from a file with the given settings, and write what it found."""
    peer, scenes_path, results_path = sys.argv[1:]
    follow, choices = PEERS[peer]
    with np.load(scenes_path) as given:
        count, period_s, confirm = int(given["scenes"]), float(given["period_s"]), given["confirm"]
        scenes = [
            np.split(given[f"xy_{k}"], np.cumsum(given[f"dots_{k}"])[:-1]) for k in range(count)
        ]
        chosen = given["choices"]
    found: dict[str, Any] = {}
    for choice in chosen:
        for k, frames in enumerate(scenes):
            ids, times = follow(frames, period_s, int(confirm), choices[int(choice)])
            found[f"ids_{choice}_{k}"] = np.concatenate(ids)
            found[f"times_{choice}_{k}"] = np.array(times)
    np.savez(results_path, **found)


if __name__ == "__main__":
    main()
