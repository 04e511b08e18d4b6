"""A scene drawn for the eye of a session, frame by frame, with the matrices of each."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np

from rushlight.drive.theatre import draw_scene
from rushlight.drive.views import EYE, view_object, view_of
from rushlight.errors import RushlightError
from rushlight.jobs.load import load_rig, rig_path
from rushlight.jobs.progress import Progress, silent
from rushlight.keep.session import SessionReader
from rushlight.opencv.draw import png_of
from rushlight.records.document import read_document, write_bytes, write_text
from rushlight.records.scene import SCENE_FILE, SceneDrawing
from rushlight.records.session import Fix
from rushlight.shelf.resolve_space import resolve_space

VIEWS_FILE = "views.jsonl"
MOST_FRAMES = 48
"""Pictures of one film at most, evenly over the session: enough to see it move; no source."""


def scene_film(
    session: Path,
    rig: Path,
    out: Path,
    most: int = MOST_FRAMES,
    progress: Progress = silent,
) -> list[Path]:
    """Draw the rig's scene as its screens would show it for the eye that a session found.

    Parameters
    ----------
    session
        Of a viewpoint rig.
    rig
        Its file or folder, with `SCENE_FILE` beside it.
    out
        Folder for the pictures, one for each frame and screen, and for ``views.jsonl``: the
        matrices of every fix of the eye, with the name of its picture where there is one.
    most
        Pictures of one screen at most.
    progress
        Told how far the drawing is.

    Returns
    -------
    list of Path
        Of the pictures, in order.

    Raises
    ------
    RushlightError
        When there is no scene, no screen, or no eye in the session.
    """
    document, shelf = load_rig(rig)
    file = rig_path(rig)
    space = resolve_space(document, shelf, file.name)
    scene = read_document(SceneDrawing, file.parent / SCENE_FILE)
    eyes = _eyes(session)
    if not space.screens or not eyes:
        raise RushlightError.of(
            session.name,
            "",
            "holds no eye to draw a picture for" if space.screens else "is of a rig without screen",
            "give a session of a viewpoint rig, run with its registration",
            "film-no-eye",
        )
    chosen = set(np.linspace(0, len(eyes) - 1, min(most, len(eyes))).round().astype(int).tolist())
    lines, pictures = [], []
    for index, fix in enumerate(eyes):
        told = view_object(view_of(fix, space.screens, space.scene_m))
        if index in chosen:
            names = {}
            for screen in space.screens:
                name = f"{screen.id}-{fix.frame:06d}.png"
                picture = draw_scene(scene, space.screens[0], screen, fix.position_m)
                write_bytes(out / name, png_of(picture))
                pictures.append(out / name)
                names[screen.id] = name
            told["pictures"] = names
            progress("drawing the scene", index / len(eyes))
        lines.append(json.dumps(told, separators=(",", ":"), allow_nan=False))
    write_text(out / VIEWS_FILE, "\n".join(lines) + "\n")
    progress("drawing the scene", 1.0)
    return pictures


def _eyes(session: Path) -> list[Fix]:
    with SessionReader(session) as reader:
        return [
            fix
            for fix in reader.fixes()
            if fix.point == EYE and fix.dimensions != 2 and np.isfinite(fix.position_m).all()
        ]
