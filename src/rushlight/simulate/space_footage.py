"""What all cameras of a rig of space film, written to a folder with its truth."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from rushlight.errors import RushlightError
from rushlight.keep.session import SessionWriter
from rushlight.physics.geometry import quaternion_from_matrix
from rushlight.records.arrays import Array
from rushlight.records.dots import Dots, Frame
from rushlight.records.rig import Stream
from rushlight.records.session import Clock, Fix, FootageHeader, SessionHeader, TrailLink
from rushlight.records.space_footage import SPACE_FOOTAGE, SpaceFootage
from rushlight.simulate.footage import PICTURE, SIDECAR, TRUTH, Video
from rushlight.simulate.space_expose import SpaceState
from rushlight.simulate.space_frames import camera_frames, space_times
from rushlight.simulate.space_scripts import SpaceScript
from rushlight.simulate.space_world import SpaceWorld

_NEVER = -1


def space_footage(
    world: SpaceWorld, script: SpaceScript, rig_hash: str | None = None
) -> SpaceFootage:
    """The sidecar of all cameras: what was filmed and when, without truth."""
    return SpaceFootage(
        cameras=list(world.space.camera_ids),
        script=script.name,
        marks=list(script.marks),
        holds=list(script.holds),
        simulated=True,
        causes=sorted(world.causes),
        rig=rig_hash,
        truth=TRUTH,
    ).stamped("simulated", inputs={"rig": rig_hash} if rig_hash else {}, seed=world.seed)


def write_space_footage(
    world: SpaceWorld,
    script: SpaceScript,
    folder: Path,
    *,
    rig_hash: str | None = None,
    streams: Sequence[Stream | None] = (),
    tell: Callable[[float], None] = lambda share: None,
) -> SpaceFootage:
    """Write a script's footage by every camera, the sidecars and the truth into a folder.

    Parameters
    ----------
    world, script
        What is filmed.
    folder
        Made if need be; must not hold footage yet.
    rig_hash
        Content hash of the rig's document.
    streams
        By which each camera's pictures are compressed and decoded again; raw when left out.
    tell
        Called now and then with the share done, 0 to 1.

    Returns
    -------
    SpaceFootage
        As written, last of all, so that a folder with one is complete.

    Raises
    ------
    RushlightError
        When the folder holds footage already or cannot be written.
    """
    _check_folder(folder)
    header = space_footage(world, script, rig_hash)
    cameras = len(world.space.camera_ids)
    with SessionWriter(
        folder / TRUTH, _truth_header(world, header), "simulated", seed=world.seed
    ) as truth:
        for path in script.paths:
            _put_fixes(truth, world, script, path.thing)
        for camera in range(cameras):
            stream = streams[camera] if streams else None
            _write_camera(
                world,
                script,
                camera,
                folder / world.space.camera_ids[camera],
                stream,
                rig_hash,
                truth,
                lambda share, done=camera: tell((done + share) / cameras),  # type: ignore[misc]
            )
    header.write(folder / SPACE_FOOTAGE)
    tell(1.0)
    return header


def _check_folder(folder: Path) -> None:
    for name in (SPACE_FOOTAGE, TRUTH):
        if (folder / name).exists():
            raise RushlightError.of(
                str(folder / name),
                "",
                "exists already",
                "choose another folder, or move the old footage away",
                "file-exists",
            )


def _write_camera(
    world: SpaceWorld,
    script: SpaceScript,
    camera: int,
    folder: Path,
    stream: Stream | None,
    rig_hash: str | None,
    truth: SessionWriter,
    tell: Callable[[float], None],
) -> None:
    """One camera's video and sidecar, and what is true of its frames."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise RushlightError.of(
            str(folder), "", f"cannot be made ({error.strerror})", "choose another place", "write"
        ) from error
    name, size_px = world.space.camera_ids[camera], world.size_px(camera)
    full_dn, rate_hz = world.full_scale_dn(camera), world.frame_rate_hz(camera)
    compressed = stream is not None and stream.codec != "raw" and world.noisy(script.name)
    times_ns = space_times(world, script, camera)
    with Video(folder / PICTURE, size_px, rate_hz, full_dn) as video:
        for frame, state in camera_frames(world, script, camera, stream):
            video.put(frame)
            _put_frame(truth, world, camera, frame, state)
            if frame.index % 50 == 0:
                tell(frame.index / len(times_ns))
    FootageHeader(
        picture=PICTURE,
        camera=name,
        size_px=size_px,
        full_scale_dn=full_dn,
        capture_ns=[int(time) for time in times_ns],
        exposure_ns=round(world.exposure_s(camera) * 1e9),
        simulated=True,
        script=script.name,
        causes=sorted(world.causes),
        stream=stream if compressed else None,
        rig=rig_hash,
    ).stamped("simulated", inputs={"rig": rig_hash} if rig_hash else {}, seed=world.seed).write(
        folder / SIDECAR
    )


def _truth_header(world: SpaceWorld, header: SpaceFootage) -> SessionHeader:
    offsets = zip(world.space.camera_ids, world.clock_offset_ns, strict=True)
    return SessionHeader(
        role="truth",
        rig=header.rig,
        rig_name=world.space.name,
        footage=header.header.content_hash if header.header else None,
        cameras=list(world.space.camera_ids),
        carried=[
            *(thing.id for thing in world.space.things),
            *([world.space.scale_bar.id] if world.space.scale_bar else []),
        ],
        clocks=[
            Clock(id=name, kind="simulated", offset_ns=int(offset), std_ns=0.0)
            for name, offset in offsets
        ],
        causes=header.causes,
        script=header.script,
    )


def _put_fixes(truth: SessionWriter, world: SpaceWorld, script: SpaceScript, name: str) -> None:
    """Where a thing truly was at every frame of the first camera."""
    thing = world.space.thing(name)
    path = next(each for each in script.paths if each.thing == name)
    times_ns = space_times(world, script, 0)
    place, rotation = path.at(times_ns * 1e-9)
    four = quaternion_from_matrix(rotation)
    for index, time_ns in enumerate(times_ns):
        truth.put_fix(
            Fix(
                capture_ns=int(time_ns),
                valid_ns=int(time_ns),
                detect_ns=_NEVER,
                map_ns=_NEVER,
                sent_ns=_NEVER,
                frame=index,
                carried=name,
                point=thing.main,
                trail=_NEVER,
                dimensions=6,
                surface=None,
                switch=True,
                cameras=(world.space.camera_ids[0],),
                predicted=False,
                hypotheses=(1.0,),
                position_m=place[index],
                quaternion=four[index],
            )
        )


def _put_frame(
    truth: SessionWriter, world: SpaceWorld, camera: int, frame: Frame, state: SpaceState
) -> None:
    """Where each light truly fell in one frame."""
    truth.put_frame(frame)
    px = np.nan_to_num(state.px, nan=-np.inf)
    inside = np.all((px >= -0.5) & (px <= np.array(world.size_px(camera)) - 0.5), axis=-1)
    shown = np.flatnonzero(inside & (state.electrons > 0.0))
    if not shown.size:
        return
    truth.put_dots(frame.camera, frame.index, _dots(world, camera, state, shown))
    names = lights_by_index(world)
    truth.put_links(
        [
            TrailLink(
                camera=frame.camera,
                frame=frame.index,
                dot=dot,
                trail=int(light),
                carried=names[light][0],
                emitter=names[light][1],
                confidence=1.0,
                state="held",
            )
            for dot, light in enumerate(shown)
        ]
    )


def lights_by_index(world: SpaceWorld) -> dict[int, tuple[str, str]]:
    """Ids of thing and light of every light of the rig, by its index."""
    space = world.space
    things = [*space.things, *([space.scale_bar] if space.scale_bar else [])]
    return {
        light: (thing.id, name)
        for thing in things
        for light, name in zip(thing.lights, thing.light_ids, strict=True)
    }


def _dots(world: SpaceWorld, camera: int, state: SpaceState, shown: Array) -> Dots:
    count = len(shown)
    return Dots(
        xy=state.px[shown],
        cov=np.zeros((count, 2, 2)),
        flux=state.electrons[shown] / world.space.cameras.gain_e_per_dn[0, camera],
        width=np.full((count, 3), np.nan),
        peak=np.full(count, np.nan),
        saturated=np.zeros(count, int),
        quality=np.ones(count),
        reason=np.zeros(count, int),
    )
