"""Scripts followed to their end through simulated frames, with their known truth."""

import copy
import dataclasses
import tomllib
from pathlib import Path

import numpy as np

import rushlight.jobs as jobs
from rushlight.jobs.load import load_rig
from rushlight.jobs.simulate_space import with_exposures
from rushlight.physics.geometry import rig_from_camera_looking_at
from rushlight.records.document import validate
from rushlight.records.rig import Rig
from rushlight.see.learning import LearningDetector
from rushlight.shelf.catalogue import load_shelf
from rushlight.shelf.resolve_space import resolve_space
from rushlight.simulate.space_frames import space_frames
from rushlight.track.rig import noise_of
from rushlight.track.space_cameras import SpaceCameras
from rushlight.track.space_follow import SpaceFollower, follow_space

SCENARIOS = Path(jobs.__file__).parent / "scenarios"


def rig(name):
    return with_exposures(resolve_space(*load_rig(SCENARIOS / name)))


def three_cameras():
    """The choir's two cameras, and a third one above the left one."""
    space = rig("choir-baton")
    cameras = space.cameras
    names = [field.name for field in dataclasses.fields(cameras)]
    three = {name: np.array(getattr(cameras, name)) for name in names}
    three = {name: np.concatenate([of, of[:, :1]], axis=1) for name, of in three.items()}
    baton = space.things[0]
    high = rig_from_camera_looking_at([-0.3, 1.9, -1.2], (baton.low_m + baton.high_m) / 2.0)
    three["rig_from_camera"][0, 2] = high
    return dataclasses.replace(
        space,
        camera_ids=(*space.camera_ids, "high"),
        cameras=type(cameras)(**three),
        lens_cov=np.concatenate([space.lens_cov, space.lens_cov[:1]]),
        placed_std_m=np.append(space.placed_std_m, 0.0),
        turned_std_rad=np.append(space.turned_std_rad, 0.0),
        focus_m=np.append(space.focus_m, space.focus_m[0]),
    )


def two_batons(second=None, first=None):
    """The choir's rig with a second baton like the first, but for what is changed of either."""
    data = tomllib.loads((SCENARIOS / "choir-baton" / "rig.toml").read_text())
    baton = data["carried"][0]
    other = copy.deepcopy(baton) | {"id": "second"}
    for one, changes in ((baton, first or {}), (other, second or {})):
        one["zone"] |= changes.get("zone", {})
        one["emitters"][0] |= changes.get("emitter", {})
    data["carried"].insert(1, other)
    return with_exposures(resolve_space(validate(Rig, data, "two"), load_shelf(SCENARIOS)))


def true_cameras(world):
    """The cameras as they truly are, without any doubt."""
    space = world.space
    count = len(space.camera_ids)
    return SpaceCameras(
        ids=space.camera_ids,
        K=world.K,
        k=world.k,
        rig_from_camera=world.rig_from_camera,
        cov=np.zeros((15 * count, 15 * count)),
        size_px=space.cameras.size_px[0],
        row_time_s=space.cameras.row_time_s[0],
        clock_offset_ns=world.clock_offset_ns,
    )


class Run:
    """A script followed to its end: fixes by thing, events, and how many links were wrong."""

    def __init__(self, world, script, cameras=None):
        space = world.space
        states, dots = {}, {}
        self.fixes = {thing.id: [] for thing in space.things}
        self.events, self.links, self.wrong = [], 0, 0

        def frames():
            for camera, frame, state in space_frames(world, script):
                states[camera, frame.index] = state
                yield camera, frame

        detectors = [
            LearningDetector(*world.size_px(c), noise_of(space, c), None)
            for c in range(len(space.camera_ids))
        ]
        follower = SpaceFollower(cameras or true_cameras(world), space.things)
        for seen, done in follow_space(frames(), detectors, follower):
            dots[seen.camera, seen.frame.index] = seen.dots
            for moment in done:
                self.events += moment.events
                for fix in moment.fixes:
                    self.fixes[fix.carried].append(fix)
                for link in moment.links:
                    key = space.camera_ids.index(link.camera), link.frame
                    away = np.linalg.norm(states[key].px - dots[key].xy[link.dot], axis=-1)
                    self.links += 1
                    self.wrong += int(np.nanargmin(away) != link.trail)

    def errors_m(self, world, script, thing, predicted=False):
        path = next(each for each in script.paths if each.thing == thing)
        return np.array(
            [
                fix.position_m - path.at(np.array(fix.valid_ns * 1e-9))[0]
                for fix in self.fixes[thing]
                if fix.predicted == predicted
            ]
        ).reshape(-1, 3)
