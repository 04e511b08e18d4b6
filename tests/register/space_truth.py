"""Made-up worlds for the registration in space: true cameras, and what they see.

Drawn here from the rigs' documents alone, with scipy's rotations and OpenCV's projection.
"""

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from scipy.spatial.transform import Rotation

import rushlight
from rushlight.jobs.load import load_rig
from rushlight.physics.geometry.rotation import pose_difference
from rushlight.physics.sighting import HELD_STD_M
from rushlight.records.dots import Dots
from rushlight.register.space_marks import Sightings, anchor_of_look, anchor_of_placing
from rushlight.register.space_solve import Cameras, known_beforehand
from rushlight.register.space_swing import Swing
from rushlight.shelf.resolve_space import resolve_space

SCENARIOS = Path(rushlight.__file__).parent / "jobs" / "scenarios"


def space_of(name):
    return resolve_space(*load_rig(SCENARIOS / name / "rig.toml"))


def true_cameras(known, rng):
    """Cameras off from where they are believed by as much as is believed."""
    return known.cameras.moved(known.spread @ rng.normal(size=known.spread.shape[1]))


def seen(points, cameras, camera):
    """Pixels of (..., 3) points by OpenCV; NaN behind the camera."""
    pose = np.linalg.inv(cameras.pose[camera])
    flat = points.reshape(-1, 3)
    px, _ = cv2.projectPoints(
        flat, cv2.Rodrigues(pose[:3, :3])[0], pose[:3, 3], cameras.K[camera], cameras.k[camera]
    )
    ahead = (flat @ pose[2, :3] + pose[2, 3]) > 0.0
    px = np.where(ahead[:, None], px.reshape(-1, 2), np.nan)
    return px.reshape(*points.shape[:-1], 2)


def within(px, size, noise_px, rng):
    inside = ((px > 0) & (px < size)).all(axis=-1, keepdims=True)
    return np.where(inside, px + noise_px * rng.normal(size=px.shape), np.nan)


def no_more_than_believed(noise_px):
    return max(noise_px, 0.02) ** 2 * np.eye(2)


@dataclass
class World:
    known: object
    cameras: Cameras
    rows: object
    own: np.ndarray
    lights_m: np.ndarray = None


def swung(space, rng, moments=80, noise_px=0.05, exact=False, length_m=0.4, late_s=0.0):
    """A bar swung through the zone; every moment at random, each dot moving at random."""
    known = known_beforehand(space)
    cameras = known.cameras if exact else true_cameras(known, rng)
    told_std = space.scale_bar.lights_std_m[0] * np.sqrt(2.0)
    length = length_m + (0.0 if exact else rng.normal() * told_std)
    middle = rng.uniform(space.things[0].low_m, space.things[0].high_m, (moments, 3))
    along = rng.normal(size=(moments, 3))
    along /= np.linalg.norm(along, axis=-1, keepdims=True)
    ends = middle[:, None] + np.stack([-along, along], axis=1) * length / 2.0
    px = np.stack([seen(ends, cameras, c) for c in range(len(cameras.lens))], axis=1)
    px = within(px, space.cameras.size_px[0, 0], noise_px, rng)
    speed = rng.normal(size=px.shape) * 300.0
    px[:, 1:] -= speed[:, 1:] * late_s
    whole = np.isfinite(px).all(axis=(1, 2, 3))
    cov = np.broadcast_to(no_more_than_believed(noise_px), (*px.shape, 2))
    swing = Swing(px[whole], cov[whole], speed[whole], 0.4, told_std)
    return World(known, cameras, swing, ends[whole])


def held(space, rng, rows=24, noise_px=0.05, exact=False):
    """A cap worn behind marks, or a model placed on marks."""
    known = known_beforehand(space)
    cameras = known.cameras if exact else true_cameras(known, rng)
    thing = space.things[0]
    draw = 0.0 if exact else 1.0
    lights = thing.lights_m + draw * rng.normal(size=thing.lights_m.shape) * thing.lights_std_m[0]
    point = thing.point_m() + draw * rng.normal(size=3) * thing.points_std_m[0]
    anchors, poses = [], []
    for _ in range(rows):
        at = rng.uniform(thing.low_m, thing.high_m)
        if thing.kind == "cap":
            near = np.array([rng.uniform(0.1, 0.5), rng.uniform(0.1, 0.24), 0.1])
            anchor = anchor_of_look(near, near + 0.3 * (near - at), thing)
            turn = Rotation.from_rotvec(draw * rng.normal(size=3) * anchor.turn_std_rad)
            rotation = turn.as_matrix() @ anchor.rotation
            place = at + draw * anchor.axes[:2].T @ rng.normal(size=2) * HELD_STD_M
        else:
            mark = np.array([at[0], at[1], 0.0])
            anchor = anchor_of_placing(mark, thing)
            angles = rng.uniform(-1.0, 1.0, 3) * thing.ranges_rad
            rotation = Rotation.from_euler("YXZ", angles).as_matrix()
            place = mark + draw * rng.normal(size=3) * HELD_STD_M
        pose = np.eye(4)
        pose[:3, :3], pose[:3, 3] = rotation, place - rotation @ point
        anchors.append(anchor)
        poses.append(pose)
    poses = np.array(poses)
    spots = lights @ np.swapaxes(poses[:, :3, :3], 1, 2) + poses[:, None, :3, 3]
    many, cameras_number = len(lights), len(cameras.lens)
    px = np.concatenate([seen(spots, cameras, c) for c in range(cameras_number)], axis=1)
    px = within(px, space.cameras.size_px[0, 0], noise_px, rng)
    made = Sightings(
        anchors=tuple(anchors),
        camera=np.tile(np.repeat(np.arange(cameras_number), many), (rows, 1)),
        light=np.tile(np.tile(np.arange(many), cameras_number), (rows, 1)),
        point=np.zeros(rows, int),
        px=px,
        px_cov=np.broadcast_to(no_more_than_believed(noise_px), (*px.shape, 2)).copy(),
        lights_m=thing.lights_m,
        lights_std_m=thing.lights_std_m,
        points_m=thing.points_m[:1],
        points_std_m=thing.points_std_m[:1],
    )
    return World(known, cameras, made, poses, lights)


def error_of(solved, true):
    """(15 C,) steps from the estimate to the truth."""
    found = solved.shared.cameras
    return np.concatenate(
        [pose_difference(true.pose, found.pose), true.lens - found.lens], axis=-1
    ).reshape(-1)


def chi_square(error, cov):
    """Of an error whose covariance has fewer ranks than rows; and the ranks."""
    std = np.sqrt(np.diag(cov))
    on = std > 0.0
    values, vectors = np.linalg.eigh(cov[np.ix_(on, on)] / np.outer(std[on], std[on]))
    kept = values > 1e-9 * values.max()
    along = vectors.T @ (error[on] / std[on])
    return float(np.sum(along[kept] ** 2 / values[kept])), int(kept.sum())


def frame(xy, cov_px2=0.0025):
    """The dots of one frame."""
    many = len(xy)
    return Dots(
        xy=np.array(xy, float).reshape(-1, 2),
        cov=np.tile(cov_px2 * np.eye(2), (many, 1, 1)),
        flux=np.full(many, 100.0),
        width=np.ones((many, 3)),
        peak=np.full(many, 50.0),
        saturated=np.zeros(many, int),
        quality=np.ones(many),
        reason=np.zeros(many, int),
    )


def filmed_swing(
    space, cameras, rng, late_s=0.0, length_m=0.4, seconds=12.0, noise_px=0.05, hidden=()
):
    """Dots of every frame of a bar swung smoothly by hand, by camera.

    The cameras' shutters open at different moments; `late_s` is how far the clock of every
    camera but the first runs ahead. `hidden` are (camera, from, until) [s] in which it sees none.
    """
    phase = rng.uniform(0.0, 2.0 * np.pi, 6)
    middle = (space.things[0].low_m + space.things[0].high_m) / 2.0
    reach = 0.35 * (space.things[0].high_m - space.things[0].low_m)

    def ends(t):
        swing = np.stack(
            [np.sin(r * t + p) for r, p in zip((1.9, 2.7, 1.3), phase[:3], strict=True)], axis=-1
        )
        angles = [0.9 * t + phase[3], 0.5 * np.sin(1.1 * t), 0.7 * np.sin(0.8 * t + phase[4])]
        along = Rotation.from_euler("ZXY", np.stack(angles, axis=-1)).as_matrix()[:, :, 0]
        off = np.stack([-along, along], axis=1) * length_m / 2.0
        return (middle + reach * swing)[:, None] + off

    filmed = []
    for camera in range(len(cameras.lens)):
        t = np.arange(0.0, seconds, 1.0 / 60.0) + 0.0041 * camera
        px = seen(ends(t), cameras, camera)
        px = within(px, space.cameras.size_px[0, camera], noise_px, rng)
        for which, start, end in hidden:
            if which == camera:
                px[(t >= start) & (t <= end)] = np.nan
        frames = []
        for moment, dots in zip(t + (late_s if camera else 0.0), px, strict=True):
            dots = dots[np.isfinite(dots).all(axis=-1)]
            dots = dots[rng.permutation(len(dots))]
            frames.append((round(moment * 1e9), frame(dots, noise_px**2)))
        filmed.append(frames)
    return filmed
