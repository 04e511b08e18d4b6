"""The scene of a viewpoint rig, as a renderer needs it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from rushlight.errors import RushlightError
from rushlight.jobs.load import load_rig, rig_path
from rushlight.physics.cautions import CAUTIONS, DEFER
from rushlight.records.document import read_document
from rushlight.records.scene import SCENE_FILE, SceneDrawing
from rushlight.records.space import ResolvedSpace
from rushlight.shelf.resolve_space import resolve_space


@dataclass(frozen=True)
class Theatre:
    """A scene with the screens and the eye of its rig.

    Attributes
    ----------
    rig
        Name.
    scene
        What is drawn, told from the first screen.
    space
        Screens, and the zone of the eye.
    """

    rig: str
    scene: SceneDrawing
    space: ResolvedSpace

    def as_dict(self) -> dict[str, Any]:
        """As plain values, lengths in metres."""
        thing = self.space.things[0]
        return {
            "rig": self.rig,
            "basis": self.scene.basis,
            "backdrop": self.scene.backdrop,
            "pieces": [
                {"id": piece.id, "outline_m": piece.outline_m.tolist(), "paint": piece.paint}
                for piece in self.scene.pieces
            ],
            "depth_m": max(-min(piece.before.value for piece in self.scene.pieces), 0.1),
            "screens": [
                {
                    "id": screen.id,
                    "corners_m": screen.corners_m.tolist(),
                    "display_px": [int(side) for side in screen.display_px],
                }
                for screen in self.space.screens
            ],
            "eye": {
                "low_m": thing.low_m.tolist(),
                "high_m": thing.high_m.tolist(),
                "rest_m": np.mean([thing.low_m, thing.high_m], axis=0).tolist(),
            },
            "cautions": [CAUTIONS["motion"], CAUTIONS["picture"], CAUTIONS["eye"], DEFER],
        }


def theatre(rig: Path) -> Theatre:
    """The scene that a viewpoint rig shows.

    Parameters
    ----------
    rig
        Its file or folder, with `SCENE_FILE` beside it.

    Raises
    ------
    RushlightError
        When the rig follows no eye, has no screen, or there is no scene.
    """
    document, shelf = load_rig(rig)
    file = rig_path(rig)
    if "viewpoint" not in document.kinds:
        raise RushlightError.of(
            f"{file.name}: kinds", ", ".join(document.kinds),
            "draws no picture that follows an eye",
            "open the lookout of a viewpoint rig", "lookout-no-eye",
        )  # fmt: skip
    space = resolve_space(document, shelf, file.name)
    if not space.screens:
        raise RushlightError.of(
            f"{file.name}: surfaces", "", "has no screen to draw on", "give the rig a surface",
            "lookout-no-screen",
        )  # fmt: skip
    scene = read_document(SceneDrawing, file.parent / SCENE_FILE)
    return Theatre(document.name, scene, space)
