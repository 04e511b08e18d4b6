"""The predicted errors in space against a simulation of dots with projection and fits of its own.

The simulation knows its own projection, draws what the rig leaves open, registers by SciPy's
least squares over everything at once, and then finds the thing by SciPy's least squares again.
"""

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from rushlight.jobs.load import load_rig
from rushlight.physics.sighting import DOT_FLOOR_PX
from rushlight.plan.space_design import design_of
from rushlight.plan.space_error import field_of_poses, mean_over, space_field
from rushlight.plan.space_poses import even_points, poses_at, ways_of_turning
from rushlight.plan.space_register import registered
from rushlight.records.figure import SPACE_CAUSES
from rushlight.shelf.resolve_space import resolve_space

SCENARIOS = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios"
DRAWS = 30


def space_of(scenario):
    return resolve_space(*load_rig(SCENARIOS / scenario))


def seen_by(points, place, rotation, lens):
    """Pixels (..., 2) of points in the rig, by the usual lens model, written out."""
    x, y, z = np.moveaxis((points - place) @ rotation, -1, 0)
    x, y = x / z, y / z
    fx, fy, cx, cy, k1, k2, p1, p2, k3 = lens
    r2 = x * x + y * y
    radial = 1 + k1 * r2 + k2 * r2**2 + k3 * r2**3
    u = x * radial + 2 * p1 * x * y + p2 * (r2 + 2 * x * x)
    v = y * radial + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y
    return np.stack([fx * u + cx, fy * v + cy], axis=-1)


class Truth:
    """One world: cameras, lenses, lights and point as they really are."""

    def __init__(self, space, thing, rng):
        self.space, self.rng = space, rng
        c = space.cameras
        K, k, pose = c.K[0], c.distortion[0], c.rig_from_camera[0]
        self.told = [
            (pose[i, :3, 3], pose[i, :3, :3], np.r_[K[i, 0, 0], K[i, 1, 1], K[i, :2, 2], k[i]])
            for i in range(len(K))
        ]
        # Each camera's doubts as independent numbers of unit deviation.
        self.scales = []
        for i in range(len(K)):
            place = np.r_[[space.placed_std_m[i]] * 3, [space.turned_std_rad[i]] * 3]
            place = place * (space.fixed_camera != i)
            values, vectors = np.linalg.eigh(space.lens_cov[i])
            lens = vectors * np.sqrt(np.clip(values, 0, None))
            self.scales.append((place, lens[:, values > 1e-12 * values.max()]))
        self.units = rng.normal(size=self.count)
        self.lights = rng.normal(size=(len(thing.lights), 3))
        self.point = rng.normal(size=3)

    @property
    def count(self):
        return sum(6 + lens.shape[1] for _, lens in self.scales)

    def cameras(self, units):
        found, at = [], 0
        for (place, rotation, lens), (std, lens_root) in zip(self.told, self.scales, strict=True):
            step = units[at : at + 6] * std
            more = lens_root @ units[at + 6 : at + 6 + lens_root.shape[1]]
            at += 6 + lens_root.shape[1]
            turned = Rotation.from_rotvec(step[3:]).as_matrix() @ rotation
            found.append((place + step[:3], turned, lens + more))
        return found


def dots_of(cameras, lights, pose):
    places = lights @ pose[:3, :3].T + pose[:3, 3]
    return np.stack([seen_by(places, *camera) for camera in cameras])


def moved(pose, step):
    new = np.array(pose)
    new[:3, :3] = Rotation.from_rotvec(step[3:]).as_matrix() @ pose[:3, :3]
    new[:3, 3] = pose[:3, 3] + step[:3]
    return new


def jittered(rng, design, thing):
    """The poses of a registration as they really are held."""
    held = []
    for pose, axes, std in zip(design.poses, design.axes, design.axes_std_m, strict=True):
        turn = np.where(np.isfinite(design.turn_std_rad), design.turn_std_rad, 0.0)
        turn = turn * (len(thing.lights) < 4)
        step = np.r_[np.zeros(3), rng.normal(size=3) * turn]
        tilted = moved(pose, step)
        # The point stays at its mark but for the hand; along a look it may be anywhere near.
        off = rng.normal(size=3) * np.where(std < 0.01, std, 0.0)
        main = pose[:3, :3] @ thing.point_m() + pose[:3, 3]
        tilted[:3, 3] = main + off @ axes - tilted[:3, :3] @ thing.point_m()
        held.append(tilted)
    return held


def register(truth, thing, design, noise_px):
    """Units of the cameras as the whole least-squares fit finds them."""
    rng = truth.rng
    held = jittered(rng, design, thing)
    lights = thing.lights_m + truth.lights * thing.lights_std_m[:, None]
    point_off = truth.point * thing.points_std_m[0]
    # The point is where the mark is: the thing itself stands off by the point's error.
    held = [moved(pose, np.r_[-pose[:3, :3] @ point_off, 0, 0, 0]) for pose in held]
    cameras = truth.cameras(truth.units)
    noise = np.hypot(noise_px / np.sqrt(design.frames), DOT_FLOOR_PX)
    dots = [dots_of(cameras, lights, pose) for pose in held]
    dots = [each + noise * rng.normal(size=each.shape) for each in dots]
    count, many = truth.count, len(thing.lights)
    turn_weight = (many < 4) / design.turn_std_rad

    shared = count + 3 * many + 3
    told = design.poses
    mains = told[:, :3, :3] @ thing.point_m() + told[:, :3, 3]
    dots = np.stack(dots, axis=1)

    def rows(common, own):
        """Each row's lines (N, R), given the shared numbers and the rows' own (N, 6)."""
        off = common[count : shared - 3].reshape(-1, 3) * thing.lights_std_m[:, None]
        point = thing.point_m() + common[shared - 3 :] * thing.points_std_m[0]
        turn = Rotation.from_rotvec(own[:, 3:]).as_matrix() @ told[:, :3, :3]
        place = told[:, :3, 3] + own[:, :3]
        lights = np.einsum("nij,lj->nli", turn, thing.lights_m + off) + place[:, None]
        seen = np.stack([seen_by(lights, *camera) for camera in truth.cameras(common[:count])])
        miss = np.moveaxis(dots - seen, 0, 1).reshape(len(own), -1) / noise
        away = turn @ point + place - mains
        held = np.einsum("nij,nj->ni", design.axes, away) / design.axes_std_m
        return np.concatenate([miss, held, own[:, 3:] * turn_weight], axis=1)

    def misses(unknown):
        common, own = unknown[:shared], unknown[shared:].reshape(-1, 6)
        return np.r_[common, rows(common, own).ravel()]

    def slopes(unknown):
        common, own = unknown[:shared], unknown[shared:].reshape(-1, 6)
        here, small = rows(common, own), 1e-6
        count_rows, lines = here.shape
        table = np.zeros((shared + here.size, len(unknown)))
        table[:shared, :shared] = np.eye(shared)
        for i in range(shared):
            step = small * (np.arange(shared) == i)
            table[shared:, i] = ((rows(common + step, own) - here) / small).ravel()
        for i in range(6):
            by = (rows(common, own + small * (np.arange(6) == i)) - here) / small
            for n in range(count_rows):
                at = shared + lines * n
                table[at : at + lines, shared + 6 * n + i] = by[n]
        return table

    start = np.zeros(shared + 6 * len(held))
    return least_squares(misses, start, jac=slopes, method="lm").x[:count]


def follow(truth, thing, units, pose, noise_px, same_point, cov):
    """The main point's error and the angle's vector when the thing is found at a pose."""
    rng = truth.rng
    lights = thing.lights_m + truth.lights * thing.lights_std_m[:, None]
    dots = dots_of(truth.cameras(truth.units), lights, pose)
    dots = dots + noise_px * rng.normal(size=dots.shape)
    supposed = truth.cameras(units)
    belief = np.maximum(thing.ranges_rad[[1, 0, 2]] / np.sqrt(3), 1e-4)
    weight = np.linalg.inv(np.linalg.cholesky(cov))

    def misses(step):
        here = moved(pose, step)
        off = dots - dots_of(supposed, thing.lights_m, here)
        turned = Rotation.from_matrix(here[:3, :3]).as_rotvec()
        return np.concatenate([np.einsum("clxy,cly->clx", weight, off).ravel(), turned / belief])

    step = least_squares(misses, np.zeros(6), x_scale=[1, 1, 1, 10, 10, 10]).x
    here = moved(pose, step)
    off = (truth.point if same_point else rng.normal(size=3)) * thing.points_std_m[0]
    real = pose[:3, :3] @ (thing.point_m() + off) + pose[:3, 3]
    return here[:3, :3] @ thing.point_m() + here[:3, 3] - real, step[3:]


@pytest.mark.parametrize(
    ("scenario", "rows"), [("paper-theatre", 10), ("ferry-model", 6), ("choir-baton", 8)]
)
def test_predicted_errors_meet_an_independent_simulation(scenario, rows):
    space = space_of(scenario)
    thing = space.things[0]
    exposure = np.full(len(space.camera_ids), 1.5e-4)
    design = design_of(space)
    design = dataclasses.replace(
        design,
        poses=design.poses[:rows],
        axes=design.axes[:rows],
        axes_std_m=design.axes_std_m[:rows],
    )
    known = registered(space, design, exposure)
    places = thing.low_m + even_points(6) * (thing.high_m - thing.low_m)
    poses = poses_at(thing, places, ways_of_turning(thing, 6))
    field = field_of_poses(space, thing, places, poses, exposure, known)
    assert field.works.all()
    noise = np.sqrt(field.dots.cov_px2[..., 0, 0].mean())
    by_point = field.dots.light.sight.by_point
    placed = (by_point @ np.swapaxes(by_point, -1, -2)) * (thing.lights_std_m**2)[:, None, None]
    covs = field.dots.cov_px2 + placed
    rng = np.random.default_rng(7)
    own = design.thing.id == thing.id
    squares, turns = [], []
    for _ in range(DRAWS):
        truth = Truth(space, design.thing, rng)
        units = register(truth, design.thing, design, noise)
        if not own:
            truth.lights, truth.point = rng.normal(size=(len(thing.lights), 3)), rng.normal(size=3)
        for n, pose in enumerate(poses):
            off, turn = follow(truth, thing, units, pose, noise, thing.kind != "cap", covs[:, n])
            squares.append(off @ off)
            turns.append(turn @ turn)
    ratio = np.sqrt(np.mean(squares)) / mean_over(field.square_m2("all"), field.works)
    # Errors of one world hang together, so that 30 worlds tell a root-mean-square to some 13 %.
    assert 0.75 < ratio < 1.33
    if thing.solved_as == "pose":
        turned = np.sqrt(np.mean(turns)) / mean_over(field.turn_square_rad2("all"), field.works)
        assert 0.75 < turned < 1.33


def test_causes_add_up_to_the_estimate_and_the_whole_doubt_falls():
    for scenario in ("paper-theatre", "ferry-model", "choir-baton"):
        space = space_of(scenario)
        exposure = np.full(len(space.camera_ids), 1.5e-4)
        known = registered(space, design_of(space), exposure)
        before = np.zeros_like(known.whole)
        for i in range(len(exposure)):
            at = 15 * i
            place = space.placed_std_m[i] * (space.fixed_camera != i)
            turn = space.turned_std_rad[i] * (space.fixed_camera != i)
            before[at : at + 6, at : at + 6] = np.diag([place**2] * 3 + [turn**2] * 3)
            before[at + 6 : at + 15, at + 6 : at + 15] = space.lens_cov[i]
        scale = np.sqrt(np.maximum(np.diag(before), 1e-18))
        gained = (before - known.whole) / np.outer(scale, scale)
        assert np.linalg.eigvalsh(gained).min() > -1e-8
        assert np.trace(gained) > 1.0


def test_causes_are_told_apart_by_switching_one_off():
    space = space_of("paper-theatre")
    thing = space.things[0]
    exposure = np.array([2e-4])
    places = thing.low_m + even_points(4) * (thing.high_m - thing.low_m)

    def errors(changed):
        known = registered(changed, design_of(changed), exposure)
        return {
            cause: float(np.mean(field.square_m2(cause)))
            for field in [space_field(changed, changed.things[0], places, exposure, known, 4)]
            for cause in SPACE_CAUSES
        }

    whole = errors(space)
    exact = errors(space.replace(things=(thing.replace(lights_std_m=thing.lights_std_m * 1e-6),)))
    assert exact["build"] < 1e-9 * whole["build"]
    pointed = errors(space.replace(things=(thing.replace(points_std_m=thing.points_std_m * 2),)))
    assert 1.5 < pointed["point"] / whole["point"] < 4.5
    known_lens = errors(space.replace(lens_cov=space.lens_cov * 1e-8))
    assert known_lens["lens"] < 1e-3 * whole["lens"]
