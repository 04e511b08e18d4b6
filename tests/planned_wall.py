"""A surface rig's plan, for tests that need the plan but none of its pictures."""

from __future__ import annotations

from pathlib import Path

from rushlight.jobs.plan import planned_rig
from rushlight.records.plan import Plan


def write_plan(rig: Path, folder: Path, grid: tuple[int, int] = (3, 2)) -> Plan:
    """The plan that the command writes to `folder`, without drawing it, which takes as long.

    Parameters
    ----------
    rig
        Its file or folder.
    folder
        Where ``plan.json`` is written.
    grid
        Columns and rows of places; beacons do not depend on it.

    Returns
    -------
    Plan
    """
    made = planned_rig(rig, grid).plan
    made = made.stamped("predicted", inputs={"rig": made.rig})
    made.write(folder / "plan.json")
    return made
