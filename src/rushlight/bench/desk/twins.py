"""Every page as plain values: what the command of its name prints with ``--json``."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from rushlight.bench.desk.stages import stage_page
from rushlight.errors import RushlightError
from rushlight.jobs.folder import find_rig, folder_told


def start_twin(folder: Path) -> dict[str, Any]:
    """As ``rushlight bench FOLDER --json``."""
    return folder_told(folder)


def rig_twin(folder: Path, name: str, stage: str) -> Any:
    """A stage's page of a rig.

    Raises
    ------
    RushlightError
        When there is no such rig or stage, or the job says so.
    """
    place = find_rig(folder, name)
    page = stage_page(stage)
    if page is None:
        raise RushlightError.of(
            "page", f'"{stage}"', "is not there", "see the start page", "page-missing"
        )
    return page.twin(place)


def twin_text(twin: Callable[[], Any]) -> tuple[str, int]:
    """A twin as JSON text, and the status of the answer: findings where the job has errors."""
    status = 200
    try:
        content = twin()
    except RushlightError as error:
        missing = {finding.code for finding in error.findings} & {"rig-missing", "page-missing"}
        status = 404 if missing else 409
        content = {"findings": [finding.as_dict() for finding in error.findings]}
    return json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False) + "\n", status
