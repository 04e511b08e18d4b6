"""Which cautions a kit carries: at its head, and again beside the steps where they matter."""

from __future__ import annotations

from rushlight.physics.cautions import CAUTIONS
from rushlight.records.plan import Plan
from rushlight.records.rig import Rig
from rushlight.records.space_plan import SpacePlan

TITLES = {
    "eye": "Eyes and infrared light",
    "cell": "Cells",
    "mains": "Mains voltage",
    "height": "Ladders, and things overhead",
    "heat": "Heat",
    "filter_glass": "Filter glass",
    "motion": "People who move",
    "picture": "Flashing pictures",
    "beam": "The projector's beam",
    "cables": "Cables",
}
DEFER = (
    "Everything on this page is an estimate, and no approval. Where it differs from your local "
    "codes, your school's rules or the advice of licensed and qualified people, follow them."
)


def hazards_of(rig: Rig, plan: Plan | SpacePlan) -> list[str]:
    """Hazards of building and using a rig, by the keys of `CAUTIONS`.

    Whatever the rig, there is infrared light, a mains supply somewhere, heat, and something that
    hangs; cells, filter glass and a projector's beam only where the rig has them.
    """
    hazards = ["eye"]
    if any(carried.cell for carried in rig.carried):
        hazards.append("cell")
    hazards += ["mains", "height", "heat"]
    if any(camera.filter for camera in rig.cameras):
        hazards.append("filter_glass")
    if "beam" in plan.cautions:
        hazards.append("beam")
    return [*hazards, "motion", "picture", "cables"]


def caution_text(hazard: str) -> str:
    """A caution with its title, whole."""
    return f"{TITLES[hazard]}. {CAUTIONS[hazard]}"
