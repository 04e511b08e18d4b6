"""The stages of a rig as pages: a module ``page_STAGE`` here is a page, found by its name.

Such a module offers

``draw(place)``
    draws the page's content (NiceGUI elements, sync or async) into the frame, for the
    `rushlight.jobs.folder.RigPlace` it is given;
``twin(place)``
    the same as plain values: exactly what the command of that name prints with ``--json``.

Its words are in ``catalogues/en.STAGE.json``, its title under ``stage.STAGE``.
"""

from __future__ import annotations

import importlib
import importlib.util
from functools import cache
from types import ModuleType

ORDER = (
    "plan",
    "search",
    "build",
    "aim",
    "survey",
    "register",
    "ready",
    "watch",
    "try",
    "lookout",
    "results",
    "kit",
)


@cache
def stages() -> tuple[str, ...]:
    """The stages that have a page, in the order of the work."""
    return tuple(stage for stage in ORDER if importlib.util.find_spec(_module(stage)))


def stage_page(stage: str) -> ModuleType | None:
    """The module of a stage's page, or None where there is none."""
    return importlib.import_module(_module(stage)) if stage in stages() else None


def _module(stage: str) -> str:
    return f"{__package__}.page_{stage}"
