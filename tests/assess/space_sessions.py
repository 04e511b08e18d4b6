"""Sessions of things in space with known errors, written as a run would write them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from rushlight.keep.session import SessionWriter
from rushlight.physics.geometry import quaternion_from_matrix
from rushlight.physics.geometry.rotation import matrix_from_rotation_vector, rotation_of_facing
from rushlight.records.dots import Frame
from rushlight.records.session import Clock, Fix, SessionHeader
from rushlight.records.space import Thing

PERIOD_NS = 10_000_000
HOLD, MOVE = 30, 40
"""Frames of a hold, and between two."""


def fix(time_ns: int, frame: int, thing: Thing, place_m: Any, rotation: Any, **changes: Any) -> Fix:
    values: dict[str, Any] = {
        "capture_ns": time_ns, "valid_ns": time_ns, "detect_ns": time_ns + 1_000_000,
        "map_ns": time_ns + 2_000_000, "sent_ns": -1, "frame": frame, "carried": thing.id,
        "point": thing.main, "trail": 0, "dimensions": 6 if thing.solved_as == "pose" else 3,
        "surface": None, "switch": True, "cameras": ("frame",), "predicted": False,
        "hypotheses": (1.0,), "position_m": np.asarray(place_m),
        "quaternion": quaternion_from_matrix(rotation),
    }  # fmt: skip
    return Fix(**(values | changes))


def header(role: str, rig: str, thing: Thing, script: str, **changes: Any) -> SessionHeader:
    values: dict[str, Any] = {
        "role": role, "rig_name": rig, "footage": "f0" * 32,
        "registration": "a0" * 32 if role == "session" else None, "cameras": ["frame"],
        "carried": [thing.id], "clocks": [Clock(id="file", kind="file")], "causes": None,
        "script": script,
    }  # fmt: skip
    return SessionHeader(**(values | changes))


def write(
    path: Path,
    head: SessionHeader,
    fixes: list[Fix],
    frames: int,
    basis: str = "simulated",
    seed: int = 1,
) -> Path:
    with SessionWriter(path, head, basis, seed=seed) as session:  # type: ignore[arg-type]
        for index in range(frames):
            session.put_frame(Frame("frame", index, index * PERIOD_NS, 0.0, None))
        for each in fixes:
            session.put_fix(each)
    return path


def stands(thing: Thing, count: int, rng: np.random.Generator, again: int = 0):
    """Places (N, 3) and rotations (N, 3, 3) of holds of `HOLD` frames with moves between."""
    poses = [
        (
            rng.uniform(thing.low_m, thing.high_m),
            rotation_of_facing(*(rng.uniform(-1, 1, 3) * thing.ranges_rad)),
        )
        for _ in range(count)
    ]
    poses += poses[:again]
    place, rotation = [], []
    for i, (here, turned) in enumerate(poses):
        if i:
            before = place[-1]
            for share in np.linspace(0, 1, MOVE + 2)[1:-1]:
                place.append(before + share * (here - before))
                rotation.append(turned)
        place += [here] * HOLD
        rotation += [turned] * HOLD
    return np.array(place), np.array(rotation)


def pair(
    folder: Path,
    rig: str,
    thing: Thing,
    place_m: Any,
    rotation: Any,
    off_m: Any,
    turned_rad: Any = None,
    script: str = "places",
    late: int = 0,
    name: str = "session",
    seen: Any = None,
    **changes: Any,
) -> tuple[Path, Path]:
    """A session that is off by (N, 3) [m] and turned by (N, 3) [rad], `late` frames behind."""
    count = len(place_m)
    turned = np.zeros((count, 3)) if turned_rad is None else np.asarray(turned_rad)
    where = np.concatenate([np.repeat(place_m[:1], late, 0), place_m[: count - late]])
    how = np.concatenate([np.repeat(rotation[:1], late, 0), rotation[: count - late]])
    found = [
        fix(
            i * PERIOD_NS, i, thing, where[i] + off_m[i],
            matrix_from_rotation_vector(turned[i]) @ how[i],
        )
        for i in range(count)
        if seen is None or seen[i]
    ]  # fmt: skip
    true = [
        fix(i * PERIOD_NS, i, thing, place_m[i], rotation[i], dimensions=6) for i in range(count)
    ]
    session = write(
        folder / f"{name}.sqlite", header("session", rig, thing, script, **changes), found, count
    )
    truth = write(
        folder / f"{name}-truth.sqlite", header("truth", rig, thing, script, **changes), true, count
    )
    return session, truth
