"""What an error of the eye point does to the picture, and what its delay does."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rushlight.physics.geometry.parallax import content_beyond, drawn_place
from rushlight.plan.space_design import screen_frame
from rushlight.plan.space_error import SpaceField, mean_over
from rushlight.records.arrays import Array
from rushlight.records.space import ResolvedSpace, Screen, Thing

CONTENT = ("before", "behind")
_SHARES = np.array([[x, y] for y in (1 / 6, 1 / 2, 5 / 6) for x in (1 / 6, 1 / 2, 5 / 6)])


@dataclass(frozen=True)
class PictureMap:
    """How the picture moves on one screen with the eye's place, for one depth of content.

    Attributes
    ----------
    screen
        Its id.
    content
        "before" or "behind".
    depth_m
        How far before or behind the screen [m].
    by_eye
        (G, M, K, 3): of places spread over the screen, both directions in it [m/m].
    mm_a_pixel
        Pitch of the screen's pixels [mm].
    """

    screen: str
    content: str
    depth_m: float
    by_eye: Array
    mm_a_pixel: float

    def error_m(self, field: SpaceField, cause: str, axis: int | None = None) -> Array:
        """Root-mean-square displacement on the screen [m], over all or along an axis."""
        square = field.of_map_square(self.by_eye, cause) / len(_SHARES)
        return mean_over(square, field.works & np.isfinite(square), axis)


def picture_maps(
    space: ResolvedSpace, thing: Thing, places_m: Array, ways: int
) -> list[PictureMap]:
    """One for each screen and each of `CONTENT`; none where the rig shows no scene.

    Parameters
    ----------
    space, thing
        The rig, and what is worn.
    places_m
        (G, 3) of the eye [m].
    ways
        M, over which the maps are repeated.
    """
    found = []
    for screen in space.screens:
        for content, depth, sign in zip(CONTENT, space.scene_m, (1.0, -1.0), strict=True):
            if np.isfinite(depth):
                by_eye = picture_by_eye(screen, places_m, sign * float(depth))
                flat = by_eye.reshape(len(places_m), 1, -1, 3)
                found.append(
                    PictureMap(
                        screen.id,
                        content,
                        float(depth),
                        np.broadcast_to(flat, (len(places_m), ways, *flat.shape[2:])),
                        1e3 * _pitch_m(screen),
                    )
                )
    return found


def picture_by_eye(screen: Screen, eyes_m: Array, height_m: float) -> Array:
    """(G, 9, 2, 3) how places of the picture move with eyes (G, 3) in the rig [m/m]."""
    corner, wide, high, normal = screen_frame(screen)
    axes = np.stack([wide / np.linalg.norm(wide), high / np.linalg.norm(high), normal])
    eyes = (eyes_m - corner) @ axes.T
    seen = _SHARES * [np.linalg.norm(wide), np.linalg.norm(high)]
    content = content_beyond(eyes[:, None], seen, height_m)
    return np.asarray(drawn_place(eyes[:, None], content).by_eye @ axes)


def _pitch_m(screen: Screen) -> float:
    return float(np.linalg.norm(screen_frame(screen)[1]) / screen.display_px[0])


def shift_of_motion_m(picture: PictureMap, moved_m: float) -> float:
    """Greatest displacement on the screen [m] when the eye has moved sideways so far [m]."""
    sideways = np.abs(picture.by_eye[..., 0::2, 0])
    return float(np.nanmax(sideways) * moved_m)
