"""A simulated room that was registered, and in which a light then touches a nudged picture."""

from pathlib import Path

import numpy as np

from rushlight.jobs.load import load_rig
from rushlight.jobs.register import register
from rushlight.jobs.simulate import simulate
from rushlight.plan.evaluate import evaluate
from rushlight.plan.grid import Standing
from rushlight.shelf.resolve import resolve
from rushlight.simulate.cast import cast_of
from rushlight.simulate.footage import write_footage
from rushlight.simulate.scripts import registration as touching
from rushlight.simulate.world import draw_world

CORNERS_M = np.array([[0.5, 0.35], [1.9, 0.3], [1.95, 1.2], [0.45, 1.25]])
"""Where a nudged projector now puts its corners, from the lower left on, anticlockwise [m]."""

SEED = 11


def nudged(home: Path) -> None:
    """Register the rig of a folder, then film its first stylus held at the corners in turn, and at
    the first once more: ``registration.json`` and ``touches``."""
    simulate(home, "registration", home / "first", SEED, touched_by=["stylus-wren"])
    register(home / "first", home, home / "registration.json")
    rig, shelf = load_rig(home)
    resolved = resolve(rig, shelf, "rig.toml")
    resolved = resolved.with_exposure(evaluate(resolved, standing=Standing.of_rig(rig)).exposure_s)
    world = draw_world(resolved, SEED, cast=cast_of(rig, resolved, 0), registering=[0])
    script = touching(world, CORNERS_M[[0, 1, 2, 3, 0]])
    write_footage(world, script, home / "touches", rig_hash=rig.content_hash(), rig_name=rig.name)
