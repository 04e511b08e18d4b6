"""Can what a rig says of live runs be used, as far as its words tell?"""

from __future__ import annotations

from collections.abc import Callable

from rushlight.capture.open_live import check_source
from rushlight.drive.output import parse_address
from rushlight.errors import Finding, RushlightError
from rushlight.jobs.live_outputs import OF_A_DISPLAY, check_in_space, foretelling_s
from rushlight.records.rig import Drive, Rig
from rushlight.shelf.resolve_space import space_kinds


def live_findings(rig: Rig, name: str) -> list[Finding]:
    """What would stop a live run for its words alone: sources, outputs, addresses, foretelling.

    Parameters
    ----------
    rig
        The document.
    name
        Of its file, for messages.
    """
    findings: list[Finding] = []
    for number, camera in enumerate(rig.cameras):
        if camera.source is not None:
            findings += _refused(check_source, camera.source, f"{name}: cameras[{number}].source")
    if space_kinds(rig) and "surface" not in rig.kinds:
        pointers = [each for each in rig.outputs if each in OF_A_DISPLAY]
        for each in dict.fromkeys(pointers):
            findings += _refused(check_in_space, [each], rig, f"{name}: outputs")
    if rig.drive is not None:
        usual = Drive()
        for way in ("pointer", "osc"):
            address, example = getattr(rig.drive, way), getattr(usual, way)
            findings += _refused(parse_address, address, f"{name}: drive.{way}", example)
        findings += _refused(foretelling_s, None, rig)
    return findings


def _refused(work: Callable[..., object], *given: object) -> list[Finding]:
    """What some work has against what it is given."""
    try:
        work(*given)
    except RushlightError as error:
        return list(error.findings)
    return []
