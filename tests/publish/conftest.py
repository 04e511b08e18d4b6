"""The invented barn wall, planned on a coarse grid, and an invented assessment of it."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from rushlight.jobs.load import load_rig
from rushlight.jobs.plan import planned_rig
from rushlight.physics.geometry import project
from rushlight.publish.kit import KitSource
from rushlight.records.assessment import Assessment
from rushlight.records.figure import Figure, Scope
from rushlight.register.fit import Place, fit_registration
from rushlight.register.solve import Lens, Touches, Wall
from rushlight.shelf.resolve import resolve

BARN_WALL = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios/barn-wall"


@pytest.fixture(scope="session")
def planned():
    planned = planned_rig(BARN_WALL, (3, 2)).plan
    return planned.stamped("predicted", inputs={"rig": planned.rig})


@pytest.fixture(scope="session")
def assessed(planned):
    """Made up for these tests; says "simulated" like an assessment of simulated footage."""

    def found(name, cause, statistic, value, unit, low=None, high=None):
        return Figure(
            name=name, cause=cause, statistic=statistic, scope=Scope(rig="barn-wall"),
            value=value, unit=unit, low=low, high=high, level=0.95 if low else None, n=28,
            method="made up for a test", basis="simulated",
        )  # fmt: skip

    return Assessment(
        rig=planned.rig,
        rig_name="barn-wall",
        basis="simulated",
        sessions=[],
        conditions=["made up for a test"],
        places=[],
        taps=[],
        figures=[
            found("error", "all", "rms", 91.0, "mm", 88.0, 94.0),
            found("coverage", None, "share", 97.0, "%", 90.0, 99.0),
            found("throughput", None, "mean", 3.21, "bit/s", 2.9, 3.6),
        ],
        compared=[],
        findings=[],
    ).stamped("simulated", inputs={"rig": planned.rig})


@pytest.fixture(scope="session")
def registered(planned):
    """Fitted to touches without scatter; says "simulated"."""
    rig, shelf = load_rig(BARN_WALL)
    resolved = resolve(rig, shelf)
    c, surface = resolved.cameras, resolved.surface
    goals = np.array(planned.beacons)
    places = np.column_stack([goals, np.full(len(goals), 0.01)])
    px = project(places, c.K[0, 0], c.distortion[0, 0], c.rig_from_camera[0, 0])[0]
    covs = np.tile(0.0025 * np.eye(2), (len(goals), 1, 1))
    fitted = fit_registration(
        Touches(goals, px, covs, np.full(len(goals), 0.002)),
        Lens(np.array(c.K[0, 0]), np.array(c.distortion[0, 0]), np.array(c.distortion_std[0, 0])),
        Wall(np.array(surface.size_m[0]), float(surface.flatness_m[0])),
        Place(camera="beam", surface="wall", size_px=(640, 480), mean_height_m=0.01),
        frames=[60] * len(goals),
        carried=["stylus-wren"] * len(goals),
    )
    return fitted.stamped("simulated", inputs={"rig": rig.content_hash()})


@pytest.fixture(scope="session")
def source(planned, assessed, registered):
    rig, shelf = load_rig(BARN_WALL)
    return KitSource(
        rig=rig,
        shelf=shelf,
        rig_file=(BARN_WALL / "rig.toml").read_bytes(),
        plan=planned,
        assessment=assessed,
        registration=registered,
    )


@pytest.fixture(scope="session")
def plain(source):
    """The same with nothing but its plan."""
    return replace(source, assessment=None, registration=None)


@pytest.fixture
def barn(tmp_path, planned):
    """A folder with the rig and its plan."""
    folder = tmp_path / "barn"
    folder.mkdir()
    shutil.copy(BARN_WALL / "rig.toml", folder)
    planned.write(folder / "plan" / "plan.json")
    return folder
