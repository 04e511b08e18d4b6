"""What a job has made of a rig already, as long as it is of the rig as it stands now."""

from __future__ import annotations

from pathlib import Path

from rushlight.errors import RushlightError
from rushlight.jobs.load import load_rig
from rushlight.jobs.plan import PLAN_FILE
from rushlight.jobs.plan import default_folder as plan_folder
from rushlight.jobs.plan_space import in_space
from rushlight.jobs.search import SEARCH_FILE
from rushlight.jobs.search import default_folder as search_folder
from rushlight.records.document import read_document
from rushlight.records.plan import Plan
from rushlight.records.search import SearchResult
from rushlight.records.space_plan import SpacePlan


def kept_plan(rig: Path) -> Plan | SpacePlan | None:
    """The rig's plan as `rushlight.jobs.plan.plan` wrote it, or None where it is of another rig.

    Raises
    ------
    RushlightError
        When the rig is wrong.
    """
    document = load_rig(rig)[0]
    file = plan_folder(rig) / PLAN_FILE
    kind: type[Plan] | type[SpacePlan] = SpacePlan if in_space(document) else Plan
    try:
        made = read_document(kind, file)
    except RushlightError:
        return None
    return made if made.rig == document.content_hash() else None


def kept_search(rig: Path) -> SearchResult | None:
    """The same of `rushlight.jobs.search.search`."""
    document = load_rig(rig)[0]
    try:
        made = read_document(SearchResult, search_folder(rig) / SEARCH_FILE)
    except RushlightError:
        return None
    return made if made.rig == document.content_hash() else None
