"""Taking a candidate of a search into the rig's text."""

from __future__ import annotations

import tomlkit

from rushlight.jobs.edit import edited, parsed
from rushlight.records.search import SearchCandidate


def with_candidate(text: str, one: SearchCandidate) -> str:
    """The rig's text with a candidate's parts and place; comments stay.

    Parameters
    ----------
    text
        Of the ``rig.toml`` that was searched.
    one
        Of the search's result.

    Raises
    ------
    RushlightError
        When the text is no TOML, or holds no camera.
    """
    text = edited(text, "cameras[0].part", one.camera)
    text = edited(text, "cameras[0].frame_rate", f"{one.frame_rate_hz:g} Hz")
    document = parsed(text)
    camera = document["cameras"][0]
    for what, place in (("position", one.position_m), ("look_at", one.look_at_m)):
        words = [f"{round(step, 4):g} m" for step in place]
        if what in camera:
            for axis, each in enumerate(words):
                camera[what][axis] = each
        else:  # it was aimed by angles
            camera[what] = words
            camera.pop("aim", None)
    if one.filter:
        camera["filter"] = one.filter
    else:
        camera.pop("filter", None)
    for carried in document.get("carried", ()):
        for emitter in carried.get("emitters", ()):
            if "part" in emitter:
                emitter["part"] = one.emitter
                emitter["current"] = f"{1e3 * one.current_a:g} mA"
        if one.cell and "cell" in carried:
            carried["cell"], carried["cells"] = one.cell, one.cells
    return tomlkit.dumps(document)
