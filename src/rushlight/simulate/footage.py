"""Frames with their truth, in memory or written to a folder."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np

from rushlight.errors import RushlightError
from rushlight.records.arrays import Array
from rushlight.records.dots import Frame
from rushlight.records.rig import Stream
from rushlight.records.session import SIMULATED_MARK, FootageHeader
from rushlight.simulate.compress import Compressor
from rushlight.simulate.expose import TrueState, expose
from rushlight.simulate.optics import background
from rushlight.simulate.render import Sensor
from rushlight.simulate.scripts import Script
from rushlight.simulate.truth import TruthWriter
from rushlight.simulate.world import World

PICTURE = "footage.avi"
SIDECAR = "footage.json"
TRUTH = "truth.sqlite"
RAW = Stream(codec="raw")
_CHUNK_FRAMES = 256


def capture_times(world: World, script: Script) -> Array:
    """Middle of each frame's exposure: (F,) int64 [ns], from one period after the start."""
    count = max(1, int(np.ceil(script.duration_s * world.frame_rate_hz)))
    times_ns = (np.arange(count) + 1) * (1e9 / world.frame_rate_hz)
    return np.asarray(np.rint(times_ns).astype(np.int64))


def is_noisy(world: World, script: Script) -> bool:
    """Whether the camera spoils its pictures: noise, hot pixels, and the stream's compression.

    They belong to the touches during registration, and to the dot centre otherwise.
    """
    return ("registration" if script.name == "registration" else "centre") in world.causes


def sensor_of(world: World, script: Script) -> Sensor:
    """The camera's sensor while a script runs; hot pixels come and go with its noise."""
    noisy = is_noisy(world, script)
    cameras, camera = world.rig.cameras, world.camera
    level_e = background(world)
    if noisy and len(world.hot_pixels):
        column, row = world.hot_pixels[:, 0].astype(int), world.hot_pixels[:, 1].astype(int)
        level_e[row, column] += world.hot_pixels[:, 2]
    return Sensor(
        level_e,
        cameras.gain_e_per_dn[0, camera],
        cameras.black_dn[0, camera],
        cameras.read_noise_e[0, camera],
        int(cameras.levels[0, camera]),
        noisy,
        world.sensor(script.name),
    )


def frames(
    world: World, script: Script, stream: Stream | None = None
) -> Iterator[tuple[Frame, TrueState]]:
    """The frames of a script, one after another, each with its truth.

    Parameters
    ----------
    world : World
    script : Script
    stream : Stream
        By which the pictures are compressed and decoded again, unless causes leave it out; None
        for raw pictures.

    Yields
    ------
    Frame, TrueState
        The same world and script give the same frames, byte for byte.
    """
    sensor = sensor_of(world, script)
    sent = stream if stream and is_noisy(world, script) else RAW
    passed = Compressor(sent, world.size_px, world.frame_rate_hz)
    times_ns = capture_times(world, script)
    for first in range(0, len(times_ns), _CHUNK_FRAMES):
        some_ns = times_ns[first : first + _CHUNK_FRAMES]
        spots, states = expose(world, script, some_ns * 1e-9)
        for offset, (time_ns, state) in enumerate(zip(some_ns, states, strict=True)):
            frame = Frame(
                camera=world.cast.camera,
                index=first + offset,
                capture_ns=int(time_ns),
                capture_std_ns=0.0,
                image=passed(sensor.expose(spots[offset])),
            )
            yield frame, state


def footage_header(
    world: World, script: Script, rig_hash: str | None, stream: Stream | None = None
) -> FootageHeader:
    """The sidecar: what was filmed and when, without truth."""
    compressed = stream is not None and stream.codec != "raw" and is_noisy(world, script)
    return FootageHeader(
        picture=PICTURE,
        camera=world.cast.camera,
        size_px=world.size_px,
        full_scale_dn=world.full_scale_dn,
        capture_ns=[int(time) for time in capture_times(world, script)],
        exposure_ns=round(world.exposure_s * 1e9),
        simulated=True,
        script=script.name,
        causes=sorted(world.causes),
        stream=stream if compressed else None,
        goals=list(script.goals),
        rig=rig_hash,
        truth=TRUTH,
    ).stamped("simulated", inputs={"rig": rig_hash} if rig_hash else {}, seed=world.seed)


def write_footage(
    world: World,
    script: Script,
    folder: Path,
    *,
    rig_hash: str | None = None,
    rig_name: str = "",
    stream: Stream | None = None,
    tell: Callable[[float], None] = lambda share: None,
) -> FootageHeader:
    """Write a script's footage, its sidecar and its truth into a folder.

    Parameters
    ----------
    world : World
    script : Script
    folder : Path
        Made if need be; must not hold footage yet.
    rig_hash, rig_name
        Content hash and name of the rig's document.
    stream
        By which the pictures are compressed and decoded again before they are kept.
    tell
        Called now and then with the share done, 0 to 1.

    Returns
    -------
    FootageHeader
        As written; the sidecar is written last, so that a folder with one is complete.

    Raises
    ------
    RushlightError
        When the folder holds footage already or cannot be written.
    """
    _check_folder(folder)
    header = footage_header(world, script, rig_hash, stream)
    with (
        TruthWriter(world, script, folder / TRUTH, header, rig_name) as truth,
        Video(folder / PICTURE, world.size_px, world.frame_rate_hz, world.full_scale_dn) as video,
    ):
        for frame, state in frames(world, script, stream):
            video.put(frame)
            truth.put(frame, state)
            if frame.index % 50 == 0:
                tell(frame.index / len(header.capture_ns))
    header.write(folder / SIDECAR)
    tell(1.0)
    return header


def _check_folder(folder: Path) -> None:
    for name in (PICTURE, SIDECAR, TRUTH):
        if (folder / name).exists():
            raise RushlightError.of(
                str(folder / name),
                "",
                "exists already",
                "choose another folder, or move the old footage away",
                "file-exists",
            )
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise RushlightError.of(
            str(folder), "", f"cannot be made ({error.strerror})", "choose another place", "write"
        ) from error


class Video:
    """Lossless grey video: FFmpeg's variant of Huffyuv in AVI, every frame by itself.

    It is read and written several times faster than FFV1 (RFC 9043), at somewhat more bytes:
    pictures are mostly noise, of which a better model saves little. The container knows no more
    than a frame rate; exact times stand in the sidecar. Levels are kept as the camera gives
    them, in 8 bits or, beyond 255, at the lower end of 16.
    """

    def __init__(
        self, path: Path, size_px: tuple[int, int], frame_rate_hz: float, full_scale_dn: int
    ) -> None:
        self._path, self._size, self._rate = path, size_px, frame_rate_hz
        self._format = "gray" if full_scale_dn <= 255 else "gray16le"
        self._container: Any = None

    def __enter__(self) -> Video:
        import av

        try:
            # Without a random identity, so that the same footage is the same file.
            self._container = av.open(str(self._path), "w", options={"fflags": "+bitexact"})
        except OSError as error:
            raise RushlightError.of(
                str(self._path), "", f"cannot be written ({error.strerror})", "choose another place"
            ) from error
        self._container.metadata["comment"] = SIMULATED_MARK
        rate = Fraction(self._rate).limit_denominator(1000)
        self._stream = self._container.add_stream("ffvhuff", rate=rate)
        self._stream.width, self._stream.height = self._size
        self._stream.pix_fmt = self._format
        # Each frame brings its own table of codes, which fits it better than one for all.
        self._stream.options = {"pred": "left", "context": "1"}
        self._stream.codec_context.thread_count = 1
        self._frame_of: Any = av.VideoFrame.from_ndarray
        return self

    def put(self, frame: Frame) -> None:
        picture = self._frame_of(frame.image, format=self._format)
        picture.pts = frame.index
        self._container.mux(self._stream.encode(picture))

    def __exit__(self, kind: object, error: object, trace: object) -> None:
        if kind is None:
            self._container.mux(self._stream.encode())
        self._container.close()
