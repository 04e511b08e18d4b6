"""Frames of all cameras of a rig of space with their truth, in memory."""

from __future__ import annotations

import heapq
from collections.abc import Iterator

import numpy as np

from rushlight.records.arrays import Array
from rushlight.records.dots import Frame
from rushlight.records.rig import Stream
from rushlight.simulate.compress import Compressor
from rushlight.simulate.render import Sensor
from rushlight.simulate.space_expose import SpaceState, expose_space
from rushlight.simulate.space_optics import space_background
from rushlight.simulate.space_scripts import SpaceScript
from rushlight.simulate.space_world import SpaceWorld

RAW = Stream(codec="raw")
_CHUNK_FRAMES = 128


def space_times(world: SpaceWorld, script: SpaceScript, camera: int) -> Array:
    """Middle of each frame's exposure by the camera's own clock: (F,) int64 [ns].

    Every camera counts from one period after its own start.
    """
    rate_hz = world.frame_rate_hz(camera)
    count = max(1, int(np.ceil(script.duration_s * rate_hz)))
    return np.asarray(np.rint((np.arange(count) + 1) * (1e9 / rate_hz)).astype(np.int64))


def space_sensor(world: SpaceWorld, script: SpaceScript, camera: int) -> Sensor:
    """A camera's sensor while a script runs; hot pixels come and go with its noise."""
    noisy = world.noisy(script.name)
    cameras = world.space.cameras
    level_e = space_background(world, camera)
    hot = world.hot_pixels[camera]
    if noisy and len(hot):
        level_e[hot[:, 1].astype(int), hot[:, 0].astype(int)] += hot[:, 2]
    return Sensor(
        level_e,
        cameras.gain_e_per_dn[0, camera],
        cameras.black_dn[0, camera],
        cameras.read_noise_e[0, camera],
        int(cameras.levels[0, camera]),
        noisy,
        world.sensor(script.name, camera),
    )


def camera_frames(
    world: SpaceWorld, script: SpaceScript, camera: int, stream: Stream | None = None
) -> Iterator[tuple[Frame, SpaceState]]:
    """The frames of one camera, one after another, each with its truth.

    Parameters
    ----------
    world, script
        What is filmed.
    camera : int
    stream
        By which the pictures are compressed and decoded again, unless causes leave it out; None
        for raw pictures.

    Yields
    ------
    Frame, SpaceState
        The same world and script give the same frames, byte for byte.
    """
    sensor = space_sensor(world, script, camera)
    sent = stream if stream and world.noisy(script.name) else RAW
    passed = Compressor(sent, world.size_px(camera), world.frame_rate_hz(camera))
    times_ns = space_times(world, script, camera)
    for first in range(0, len(times_ns), _CHUNK_FRAMES):
        some_ns = times_ns[first : first + _CHUNK_FRAMES]
        true_s = (some_ns - world.clock_offset_ns[camera]) * 1e-9
        spots, states = expose_space(world, script, camera, true_s)
        for offset, (time_ns, state) in enumerate(zip(some_ns, states, strict=True)):
            frame = Frame(
                camera=world.space.camera_ids[camera],
                index=first + offset,
                capture_ns=int(time_ns),
                capture_std_ns=0.0,
                image=passed(sensor.expose(spots[offset])),
            )
            yield frame, state


def space_frames(world: SpaceWorld, script: SpaceScript) -> Iterator[tuple[int, Frame, SpaceState]]:
    """The raw frames of all cameras in the order of their own clocks' times.

    Yields
    ------
    camera, Frame, SpaceState
        The camera by its place in the rig.
    """
    each = [_in_order(world, script, camera) for camera in range(len(world.space.camera_ids))]
    for _, camera, frame, state in heapq.merge(*each, key=lambda one: one[:2]):
        yield camera, frame, state


def _in_order(
    world: SpaceWorld, script: SpaceScript, camera: int
) -> Iterator[tuple[int, int, Frame, SpaceState]]:
    for frame, state in camera_frames(world, script, camera):
        yield frame.capture_ns, camera, frame, state
