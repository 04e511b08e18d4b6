"""What errors of an eye point do to the picture: on the screen, and as an angle at the eye."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rushlight.assess.intervals import LEVEL, places_interval
from rushlight.assess.space_accuracy import Maker
from rushlight.assess.space_recording import SpaceRecording
from rushlight.assess.space_stands import Stand
from rushlight.physics.geometry.offaxis import in_screen_frame, screen_frame
from rushlight.physics.geometry.parallax import content_beyond, drawn_place
from rushlight.physics.uncertainty import rms
from rushlight.records.arrays import Array
from rushlight.records.figure import Figure, Scope
from rushlight.records.space import ResolvedSpace, Screen

EYES = ("cap",)
"""Kinds of things whose point that counts is an eye."""
ARCMINUTES = (math.degrees(60.0), "arcmin")
_SHARES = np.array([[x, y] for y in (1 / 6, 1 / 2, 5 / 6) for x in (1 / 6, 1 / 2, 5 / 6)])


@dataclass(frozen=True)
class Content:
    """Content that is drawn on one screen.

    Attributes
    ----------
    screen
        On which.
    word
        "before" or "behind".
    height_m
        How far it stands before the screen; below 0 behind it [m].
    """

    screen: Screen
    word: str
    height_m: float

    def apart(self, true_m: Array, found_m: Array) -> tuple[Array, Array]:
        """How far off content is drawn that the true eye sees spread over the whole screen.

        Parameters
        ----------
        true_m, found_m
            (n, 3) the eye, and where it was taken to be [m].

        Returns
        -------
        on_screen_m, at_eye_rad
            (n, 9) distance on the screen [m], and angle at the true eye, between where content
            appears and where it should be.
        """
        frame = screen_frame(self.screen.corners_m)
        true = in_screen_frame(true_m, frame)[:, None]
        found = in_screen_frame(found_m, frame)[:, None]
        spots = _SHARES * frame.size_m
        drawn = drawn_place(found, content_beyond(true, spots, np.array(self.height_m))).place_m
        flat = np.zeros((len(_SHARES), 1))
        at_eye = angle(
            np.concatenate([drawn, np.broadcast_to(flat, (*drawn.shape[:-1], 1))], axis=-1) - true,
            np.concatenate([spots, flat], axis=-1) - true,
        )
        return np.asarray(np.linalg.norm(drawn - spots, axis=-1)), at_eye


def angle(one: Array, other: Array) -> Array:
    """Angles (...) between directions (..., 3) [rad]."""
    cross = np.linalg.norm(np.cross(one, other), axis=-1)
    return np.asarray(np.arctan2(cross, np.sum(one * other, axis=-1)))


def contents_of(space: ResolvedSpace) -> list[Content]:
    """The nearest and the farthest content on every screen; none where the rig shows no scene."""
    return [
        Content(screen, word, sign * float(depth))
        for screen in space.screens
        for word, sign, depth in zip(("before", "behind"), (1.0, -1.0), space.scene_m, strict=True)
        if np.isfinite(depth)
    ]


def picture_figures(
    stands: Sequence[Stand],
    scope: Scope,
    space: ResolvedSpace,
    predicted: Sequence[Figure] = (),
) -> list[Figure]:
    """Registration error of the picture while the eye is held still.

    Parameters
    ----------
    stands
        Of eyes, of sessions in which the same causes acted.
    scope
        What they speak of.
    space
        With its screens and scene.
    predicted
        Figures of a plan; may be empty.

    Returns
    -------
    list of Figure
        On the screen in mm, by content; at the eye in arc-minutes, over all content.
    """
    seen = [stand for stand in stands if stand.seen]
    contents = contents_of(space)
    if not seen or not contents:
        return []
    make = Maker(seen, scope, predicted)
    figures, angles = [], []
    for content in contents:
        apart = [content.apart(stand.true_m, stand.found_m) for stand in seen]
        own = np.array([rms(metres.ravel()) for metres, _ in apart])
        angles.append([rms(at_eye.ravel()) for _, at_eye in apart])
        figures.append(
            make(
                "picture-error", "rms", float(rms(own)), make.stands("picture-error", own),
                "distance on the screen between where content is drawn and where the true eye "
                f"needs it; content {abs(content.height_m) * 1e3:.0f} mm {content.word} the screen",
                condition=content.word, surface=content.screen.id,
            )
        )  # fmt: skip
    own = np.asarray(rms(np.array(angles), axis=0))
    figures.append(
        make(
            "view-angle", "rms", float(rms(own)), make.stands("view-angle", own),
            "registration error of the picture: angle at the true eye between where content "
            "appears and where it should be; nearest and farthest content alike", ARCMINUTES,
        )
    )  # fmt: skip
    return figures


def moving_picture_figures(
    recordings: Sequence[SpaceRecording], scope: Scope, space: ResolvedSpace, delay_s: float
) -> list[Figure]:
    """The same while the eye moves, shown late.

    Parameters
    ----------
    recordings
        Those of kind motion with truth count.
    scope, space
        As in `picture_figures`.
    delay_s
        From the middle of an exposure to light from the display [s], as planned.
    """
    contents = contents_of(space)
    eyes = {thing.id for thing in space.things if thing.kind in EYES}
    figures = []
    for recording in recordings:
        if recording.kind != "motion" or recording.truth is None or not contents:
            continue
        blocks = []
        for carried, track in recording.tracks.items():
            if carried not in eyes or carried not in recording.truth:
                continue
            when = track.capture_ns + round(delay_s * 1e9)
            true = recording.truth[carried].at(when)[0]
            known = np.isfinite(true).all(axis=-1)
            angles = [
                content.apart(true[known], track.place_m[known])[1] ** 2 for content in contents
            ]
            square = np.mean(angles, axis=(0, 2))
            second = ((track.capture_ns[known] - track.capture_ns[0]) * 1e-9).astype(int)
            blocks += [math.sqrt(square[second == each].mean()) for each in np.unique(second)]
        if not blocks:
            continue
        values = np.array(blocks)
        ends = places_interval(values, rms)
        scale, unit = ARCMINUTES
        figures.append(
            Figure(
                name="view-angle",
                cause=recording.cause,
                statistic="rms",
                scope=scope.model_copy(update={"condition": "moving, shown late"}),
                value=float(rms(values)) * scale,
                unit=unit,
                low=None if ends.low is None else ends.low * scale,
                high=None if ends.high is None else ends.high * scale,
                level=None if ends.low is None else LEVEL,
                n=len(values),
                method="angle at the true eye between where content appears and where it should "
                f"be, {delay_s * 1e3:.0f} ms after the middle of the exposure, the mean delay as "
                f"planned; {ends.method.replace('places', 'seconds')}",
                basis=recording.basis,
            )
        )
    return figures
