"""A hand-moved card with five white dots, in 501 real pictures among bright scenery.

SOURCE: Debian package visp-images-data 3.5.0-1 (GPL-2), directory mire-2, image.0001–0501.pgm,
384×288. The pictures are the source's; no positions are published with them, and none is expected
here. The place of the large dot in the frame of the four small ones is the same in every picture
whatever the view (it is a projective invariant), as long as all five are found and none is taken
for another: that is what is tested.
"""

import itertools
import runpy
from pathlib import Path

import numpy as np
import pytest

from rushlight.physics.geometry import matrix_from_quaternion
from rushlight.records.dots import Frame
from rushlight.records.space import Thing
from rushlight.see.detect import Detector
from rushlight.see.link import Linker, nearest_live
from rushlight.track.space_cameras import SpaceCameras
from rushlight.track.space_follow import Detected, SpaceFollower

REAL_DATA = runpy.run_path(str(Path(__file__).parents[1] / "real_data.py"))

FRAME_PERIOD_NS = 40_000_000
"""25 Hz: common practice for such cameras, no source; the pictures carry no times."""

FIRST_SEEN_PX = np.array([[85, 179], [215, 167], [242, 248], [93, 266], [160, 213]])
"""Where the dots are in the first pictures, read off by eye: the small ones around, the large."""

MOST_SPREAD = 0.005
"""Of the large dot's place over the pictures, as a share of the card: dots found to some 0.3 px
(0.35 px are left by a calibration on them) on a card of at least 60 px."""

FOCAL_PX, CARD_ASPECT = 605.0, 1.22
"""Focal length of the camera and width over height of the card's four small dots: neither is
published; found here beforehand by OpenCV 5.0's calibrateCamera from every fifth picture, which
leaves 0.35 px. The card's size is not known either, and is taken for 0.1 m: it only scales."""

pytestmark = pytest.mark.real_data


def in_their_frame(corners, point):
    """A point in the projective frame in which the corners are those of the unit square."""
    rows, values = [], []
    for (x, y), (u, v) in zip(corners, [(0, 0), (1, 0), (1, 1), (0, 1)], strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
        values += [u, v]
    matrix = np.append(np.linalg.solve(rows, values), 1.0).reshape(3, 3)
    u, v, w = matrix @ [*point, 1.0]
    return u / w, v / w


@pytest.fixture(scope="module")
def seen():
    """The dots and links of every picture."""
    pictures = REAL_DATA["sequence_pictures"]()
    height_px, width_px = pictures[0].shape
    detector, linker = Detector(width_px, height_px), Linker()
    dots = [detector(picture) for picture in pictures]
    links = [linker.step(index * FRAME_PERIOD_NS, one) for index, one in enumerate(dots)]
    return dots, links


def test_all_five_dots_keep_their_trails_through_all_pictures(seen):
    dots, links = seen
    assert len(dots) == 501
    # The first two pictures come before any trail is confirmed: there the dots must be seen.
    for one in dots[:2]:
        gaps = np.linalg.norm(one.good().xy[None] - FIRST_SEEN_PX[:, None], axis=2)
        assert gaps.min(axis=1).max() < 12  # the card moves 10 px between the two
        assert len(set(gaps.argmin(axis=1))) == 5
    trails = [nearest_live(links[2], place) for place in FIRST_SEEN_PX]
    assert len(set(trails)) == 5
    places_uv = []
    for one, link in zip(dots[2:], links[2:], strict=True):
        at = [np.flatnonzero(link.trail == trail) for trail in trails]
        assert [len(index) for index in at] == [1] * 5, f"frame at {link.time_ns} ns"
        xy = one.xy[np.concatenate(at)]
        places_uv.append(in_their_frame(xy[:4], xy[4]))
    mean, spread = np.mean(places_uv, axis=0), np.std(places_uv, axis=0)
    assert np.all(spread <= MOST_SPREAD)
    # Were a dot taken for another in a single picture, the place would jump by a fifth or more.
    assert np.abs(np.array(places_uv) - mean).max() < 0.02


def test_scenery_is_not_reported_as_many_dots(seen):
    dots, _ = seen
    # Besides the five dots, pictures on the wall show a few round bright shapes.
    assert np.median([len(one.good()) for one in dots]) <= 8


def card():
    """The card as a thing with five lights, facing the camera, turned by no right angle."""
    corners = [(-CARD_ASPECT, 1.0), (CARD_ASPECT, 1.0), (CARD_ASPECT, -1.0), (-CARD_ASPECT, -1.0)]
    places = np.array([(*each, 0.0) for each in [*corners, (0.0, 0.0)]]) * 0.05
    return Thing(
        id="card",
        kind="model",
        solved_as="pose",
        lights=(0, 1, 2, 3, 4),
        light_ids=("upper-left", "upper-right", "lower-right", "lower-left", "large"),
        codes=(None,) * 5,
        main="middle",
        point_names=("middle",),
        lights_m=places,
        lights_std_m=np.full(5, 0.5e-3),
        points_m=np.zeros((1, 3)),
        points_std_m=np.zeros(1),
        low_m=np.array([-0.5, -0.5, -2.0]),
        high_m=np.array([0.5, 0.5, -0.3]),
        ranges_rad=np.radians([60.0, 60.0, 40.0]),
    )


def test_the_card_followed_as_a_body_keeps_all_labels(seen):
    dots, _ = seen
    pictures = REAL_DATA["sequence_pictures"]()
    height_px, width_px = pictures[0].shape
    K = np.array([[FOCAL_PX, 0, width_px / 2], [0, FOCAL_PX, height_px / 2], [0, 0, 1.0]])
    cameras = SpaceCameras(
        ids=("camera",),
        K=K[None],
        k=np.zeros((1, 5)),
        rig_from_camera=np.diag([1.0, -1.0, -1.0, 1.0])[None],
        cov=np.zeros((15, 15)),
        size_px=np.array([[width_px, height_px]], float),
        row_time_s=np.zeros(1),
        clock_offset_ns=np.zeros(1, np.int64),
    )
    follower = SpaceFollower(cameras, [card()])
    done = [
        moment
        for index, one in enumerate(dots)
        for moment in follower.step(
            [Detected(0, Frame("camera", index, index * FRAME_PERIOD_NS, 0.0, None), one)]
        )
    ]
    assert len(done) == 501 and [len(each.links) for each in done] == [5] * 501
    places = np.array(
        [
            [one.xy[link.dot] for link in sorted(each.links, key=lambda link: link.trail)]
            for one, each in zip(dots, done, strict=True)
        ]
    )
    assert np.linalg.norm(places[0] - FIRST_SEEN_PX, axis=-1).max() < 12
    # Names that went round would be seen as leaps by the card's own size, 70 px and more.
    assert np.linalg.norm(np.diff(places, axis=0), axis=-1).max() < 30
    places_uv = np.array([in_their_frame(xy[:4], xy[4]) for xy in places])
    assert np.abs(places_uv - places_uv.mean(axis=0)).max() < 0.02
    assert not any(fix.predicted for each in done for fix in each.fixes)
    assert [event.kind for each in done for event in each.events] == ["found"]
    # The pose goes on as smoothly as a hand does.
    turns = [matrix_from_quaternion(each.fixes[0].quaternion) for each in done]
    steps = [
        np.arccos(np.clip((np.trace(a.T @ b) - 1) / 2, -1, 1)) for a, b in itertools.pairwise(turns)
    ]
    assert np.degrees(max(steps)) < 15.0
