"""What an error of the eye point does to the picture, and what its delay does."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rushlight.physics.geometry.parallax import content_beyond, drawn_place
from rushlight.physics.sighting import INTERPUPILLARY_M
from rushlight.plan.space_design import screen_frame
from rushlight.plan.space_error import SpaceField, mean_over
from rushlight.plan.space_poses import ways_of_turning
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
    at_eye
        (G, M, K, 3): the same as directions from the eye [rad/m].
    mm_a_pixel
        Pitch of the screen's pixels [mm].
    """

    screen: str
    content: str
    depth_m: float
    by_eye: Array
    at_eye: Array
    mm_a_pixel: float

    def square_m2(self, field: SpaceField, cause: str) -> Array:
        """(G, M) mean square displacement on the screen [m²]."""
        return field.of_map_square(self.by_eye, cause) / len(_SHARES)

    def angle_square_rad2(self, field: SpaceField, cause: str) -> Array:
        """(G, M) mean square angle at the eye between where content is and where it should be."""
        return field.of_map_square(self.at_eye, cause) / len(_SHARES)

    def error_m(self, field: SpaceField, cause: str, axis: int | None = None) -> Array:
        """Root-mean-square displacement on the screen [m], over all or along an axis."""
        square = self.square_m2(field, cause)
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
                by_eye, at_eye = picture_by_eye(screen, places_m, sign * float(depth))
                whole = [each.reshape(len(places_m), 1, -1, 3) for each in (by_eye, at_eye)]
                shape = (len(places_m), ways)
                found.append(
                    PictureMap(
                        screen.id,
                        content,
                        float(depth),
                        *(np.broadcast_to(e, (*shape, *e.shape[2:])) for e in whole),
                        1e3 * _pitch_m(screen),
                    )
                )
    return found


def picture_by_eye(screen: Screen, eyes_m: Array, height_m: float) -> tuple[Array, Array]:
    """How nine places of the picture move with eyes (G, 3) in the rig: (G, 9, 2, 3) on the screen
    [m/m], and (G, 9, 3, 3) as directions from the eye [rad/m]."""
    corner, wide, high, normal = screen_frame(screen)
    axes = np.stack([wide / np.linalg.norm(wide), high / np.linalg.norm(high), normal])
    eyes = (eyes_m - corner) @ axes.T
    seen = _SHARES * [np.linalg.norm(wide), np.linalg.norm(high)]
    content = content_beyond(eyes[:, None], seen, height_m)
    by_eye = drawn_place(eyes[:, None], content).by_eye @ axes
    way = np.concatenate([seen, np.zeros((len(seen), 1))], axis=-1) - eyes[:, None]
    range_m = np.linalg.norm(way, axis=-1)[..., None, None]
    unit = way[..., None] / range_m
    across = np.eye(3) - unit * np.swapaxes(unit, -1, -2)
    return np.asarray(by_eye), np.asarray(across[..., :2] @ by_eye / range_m)


def _pitch_m(screen: Screen) -> float:
    return float(np.linalg.norm(screen_frame(screen)[1]) / screen.display_px[0])


def shift_of_eyes_m(picture: PictureMap, field: SpaceField) -> float:
    """Root-mean-square displacement on the screen [m] for either eye of a picture that is drawn
    for the point midway between both, over all places, turns and the whole screen."""
    turns = ways_of_turning(field.thing, picture.by_eye.shape[1])
    aside = turns[:, :, 0] * INTERPUPILLARY_M / 2.0
    moved = np.einsum("gmki,mi->gmk", picture.by_eye, aside)
    square = np.sum(moved**2, axis=-1) / len(_SHARES)
    return float(mean_over(square, field.works & np.isfinite(square)))


def shift_of_motion_m(picture: PictureMap, moved_m: float) -> float:
    """Greatest displacement on the screen [m] when the eye has moved sideways so far [m]."""
    sideways = np.abs(picture.by_eye[..., 0::2, 0])
    return float(np.nanmax(sideways) * moved_m)
