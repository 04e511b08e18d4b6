"""Sessions with known errors, written as a run would write them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from rushlight.keep.session import SessionWriter
from rushlight.records.dots import Frame
from rushlight.records.session import Clock, Event, Fix, SessionHeader, ShownGoal

PERIOD_NS = 10_000_000
HOLD_NS = 400_000_000
DARK_NS = 200_000_000


def fix(capture_ns: int, frame: int, carried: str, xy: Any, **changes: Any) -> Fix:
    values: dict[str, Any] = {
        "capture_ns": capture_ns,
        "valid_ns": capture_ns,
        "detect_ns": capture_ns + 1_000_000,
        "map_ns": capture_ns + 2_000_000,
        "sent_ns": -1,
        "frame": frame,
        "carried": carried,
        "point": "tip",
        "trail": 0,
        "dimensions": 2,
        "surface": "wall",
        "switch": True,
        "cameras": ("beam",),
        "predicted": False,
        "hypotheses": (1.0,),
        "position_m": np.array([*xy, np.nan]),
    }
    return Fix(**(values | changes))


def header(role: str = "session", **changes: Any) -> SessionHeader:
    values: dict[str, Any] = {
        "role": role,
        "rig_name": "barn-wall",
        "footage": "f0" * 32,
        "registration": "a0" * 32 if role == "session" else None,
        "cameras": ["beam"],
        "carried": ["stylus-wren"],
        "clocks": [Clock(id="file", kind="file")],
        "causes": None,
        "script": "grid",
    }
    return SessionHeader(**(values | changes))


def write(
    path: Path,
    head: SessionHeader,
    frame_ns: Iterable[int],
    fixes: Iterable[Fix],
    events: Iterable[Event] = (),
    basis: str = "simulated",
) -> Path:
    with SessionWriter(path, head, basis) as session:  # type: ignore[arg-type]
        for index, capture_ns in enumerate(frame_ns):
            session.put_frame(Frame("beam", index, int(capture_ns), 0.0, None))
        for each in fixes:
            session.put_fix(each)
        for event in events:
            session.put_event(event)
    return path


def goal(
    place: Any,
    from_ns: int,
    until_ns: int,
    trial: int = 0,
    carried: str = "stylus-wren",
    block: str = "grid-1",
    width_m: float | None = None,
) -> ShownGoal:
    return ShownGoal(
        carried=carried,
        block=block,
        trial=trial,
        place_m=(float(place[0]), float(place[1])),
        width_m=width_m,
        from_ns=from_ns,
        until_ns=until_ns,
    )


PLACES = np.array([(x, y) for y in (0.3, 0.7, 1.2) for x in (0.31, 1.02, 1.57, 2.13)])


@dataclass
class GridMaker:
    """Writes a grid session and its truth; what is wrong with it is given by the test.

    Attributes
    ----------
    shift_m, noise_m
        Added to every fix; standard deviation along each axis of what is drawn for each.
    hold_noise_m
        Standard deviation along each axis of what is drawn once a hold.
    missing
        Share of each hold's frames without a fix, taken from its end.
    names
        Carried things; each holds the places in turn, offset from one another.
    swapped
        Whether fixes bear the next one's name.
    """

    folder: Path
    shift_m: Any = (0.0, 0.0)
    noise_m: float = 0.0
    hold_noise_m: float = 0.0
    missing: float = 0.0
    names: tuple[str, ...] = ("stylus-wren",)
    swapped: bool = False
    places: Any = field(default_factory=lambda: PLACES)
    repeats: int = 1
    seed: int = 0
    head: dict[str, Any] = field(default_factory=dict)
    truth_footage: str = "f0" * 32

    def write(self, basis: str = "simulated") -> tuple[Path, Path]:
        rng = np.random.default_rng(self.seed)
        rounds = np.tile(self.places, (self.repeats, 1))
        step_ns = HOLD_NS + DARK_NS
        frame_ns = np.arange(0, len(rounds) * step_ns, PERIOD_NS)
        goals, fixes, truth = [], [], []
        for rank, name in enumerate(self.names):
            order = np.roll(np.arange(len(rounds)), -rank * len(rounds) // len(self.names))
            shown = self.names[(rank + self.swapped) % len(self.names)]
            for turn, index in enumerate(order):
                place, start = rounds[index], turn * step_ns
                goals.append(goal(place, start, start + HOLD_NS, int(index), name))
                held = rng.normal(0.0, self.hold_noise_m, 2)
                for frame in np.flatnonzero((frame_ns >= start) & (frame_ns < start + step_ns)):
                    at = int(frame_ns[frame])
                    lit = at < start + HOLD_NS
                    truth.append(fix(at, int(frame), name, place, switch=lit, trail=rank))
                    if not lit or at >= start + (1.0 - self.missing) * HOLD_NS:
                        continue
                    away = self.shift_m + held + rng.normal(0.0, self.noise_m, 2)
                    fixes.append(fix(at, int(frame), shown, place + away, trail=rank))
        truth.sort(key=lambda each: each.frame)
        fixes.sort(key=lambda each: each.frame)
        number = len(list(self.folder.glob("session-*")))
        carried = list(self.names)
        head = header(carried=carried, goals=goals, **self.head)
        session = self.folder / f"session-{number}.sqlite"
        write(session, head, frame_ns, fixes, basis=basis)
        true_head = header("truth", carried=carried, footage=self.truth_footage)
        true = write(self.folder / f"truth-{number}.sqlite", true_head, frame_ns, truth)
        return session, true


@pytest.fixture
def make_grid(tmp_path):
    """Makes a grid session and its truth: ``make_grid(shift_m=…)`` gives their paths."""

    def make(basis: str = "simulated", **changes: Any) -> tuple[Path, Path]:
        return GridMaker(tmp_path, **changes).write(basis)

    return make


@pytest.fixture(scope="session")
def build() -> SimpleNamespace:
    """The functions above, for sessions of a test's own."""
    return SimpleNamespace(fix=fix, goal=goal, header=header, write=write, period_ns=PERIOD_NS)
