"""Checks of a volume rig that need no truth: a length known beforehand, and reprojection."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from rushlight.assess.intervals import LEVEL, places_interval
from rushlight.assess.recording import among
from rushlight.assess.space_recording import SpaceRecording
from rushlight.keep.session import SessionReader
from rushlight.physics.cubic import cubic_weights
from rushlight.physics.geometry.sight import sight_of
from rushlight.physics.geometry.triangulate import triangulate
from rushlight.physics.uncertainty import rms, t_interval
from rushlight.records.arrays import Array
from rushlight.records.figure import Figure, Scope
from rushlight.records.space import ResolvedSpace, Thing
from rushlight.records.space_assessment import LengthResult
from rushlight.records.space_registration import SpaceRegistration

DOT_STD_PX = 0.1
"""Taken alike of all dots, which only weighs them against one another [px]."""
CELL_M = 0.15
"""Frames in cubes of this size of the volume share the cameras' errors; no source."""
FEWEST = 10  # moments, below which no length is told (our choice)
MOST_BENT_PX = 1.0
"""A dot whose way between frames bends by more [px] turns too sharply there for any curve through
the frames to tell where it was: the moment does not count. Our choice, no source."""
_GAP = 1.3  # of a frame period: over more a frame is missing (our choice)


def lights_seen(
    recording: SpaceRecording, thing: Thing, registration: SpaceRegistration
) -> tuple[Array, dict[str, Array]]:
    """Dots of a thing's lights at the moments of the first camera's frames.

    Parameters
    ----------
    recording
        Whose file holds dots and trails.
    thing
        Whose lights.
    registration
        With the cameras' clocks.

    Returns
    -------
    time_ns, px
        (F,) on the first camera's clock; by light (F, C, 2) [px], between the frames of the other
        cameras, NaN where one does not see it.
    """
    with SessionReader(recording.path) as reader:
        frames, dots, trails = reader.frame_table(), reader.dot_table(), reader.trail_table()
    names = [camera.camera for camera in registration.cameras]
    time_ns = np.zeros(0, np.int64)
    found: dict[str, Array] = {}
    for c, camera in enumerate(registration.cameras):
        own = frames["camera"] == camera.camera
        when = dict(
            zip(
                frames["frame"][own].tolist(),
                (frames["capture_ns"][own] - camera.clock_offset_ns).tolist(),
                strict=True,
            )
        )
        if c == 0:
            time_ns = np.array(sorted(when.values()), np.int64)
            found = {
                light: np.full((len(time_ns), len(names), 2), np.nan) for light in thing.light_ids
            }
        places = _dots_by_light(camera.camera, thing, dots, trails)
        for light, by_frame in places.items():
            have = np.array([when[frame] for frame in by_frame], np.int64)
            px = np.array(list(by_frame.values()))
            if len(have) < 2:
                continue
            order = np.argsort(have)
            found[light][:, c] = _between(have[order], px[order], time_ns)
    return time_ns, found


def _between(have_ns: Array, px: Array, time_ns: Array) -> Array:
    """(M, 2) dots (N, 2) [px] between frames; NaN where four frames in a row do not tell them."""
    straight = among(have_ns, time_ns)
    if len(have_ns) < 4:
        return np.full((len(time_ns), 2), np.nan)
    have, wanted = straight.have, straight.wanted
    first = np.clip(np.searchsorted(have, wanted) - 2, 0, len(have) - 4)
    four = first[:, None] + np.arange(4)
    found = np.einsum("mf,mfi->mi", cubic_weights(have[four], wanted)[0], px[four])
    in_a_row = have[four[:, 3]] - have[four[:, 0]] < _GAP * 3.0 * np.median(np.diff(have))
    bent = np.linalg.norm(found - straight.between(px), axis=-1)
    told = in_a_row & (bent <= MOST_BENT_PX) & (wanted >= have[0]) & (wanted <= have[-1])
    return np.where(told[:, None], found, np.nan)


def _dots_by_light(
    camera: str, thing: Thing, dots: Mapping[str, Array], trails: Mapping[str, Array]
) -> dict[str, dict[int, tuple[float, float]]]:
    """By light and frame, the dot [px]."""
    own = dots["camera"] == camera
    keys = zip(dots["frame"][own].tolist(), dots["dot"][own].tolist(), strict=True)
    where = dict(
        zip(
            keys,
            zip(dots["x_px"][own].tolist(), dots["y_px"][own].tolist(), strict=True),
            strict=True,
        )
    )
    mine = (trails["camera"] == camera) & (trails["carried"] == thing.id) & (trails["dot"] >= 0)
    found: dict[str, dict[int, tuple[float, float]]] = {}
    for frame, dot, light in zip(
        trails["frame"][mine].tolist(), trails["dot"][mine].tolist(),
        trails["emitter"][mine].tolist(), strict=True,
    ):  # fmt: skip
        if light in thing.light_ids and (frame, dot) in where:
            found.setdefault(light, {})[frame] = where[frame, dot]
    return found


def _met(px: Array, registration: SpaceRegistration) -> tuple[Array, Array]:
    """Points (F, 3) [m], and dots minus where those are seen (F, C, 2) [px]."""
    K, k, pose = (
        np.stack([getattr(camera, name) for camera in registration.cameras])
        for name in ("K", "k", "rig_from_camera")
    )
    cov = np.broadcast_to(DOT_STD_PX**2 * np.eye(2), (*px.shape, 2))
    point = triangulate(px, cov, K, k, pose).point_m
    return point, np.asarray(px - sight_of(point[:, None], K, k, pose).px)


def length_figures(
    recordings: Sequence[SpaceRecording],
    scope: Scope,
    space: ResolvedSpace,
    registration: SpaceRegistration,
) -> tuple[list[Figure], list[LengthResult]]:
    """Lengths found beside lengths told, of sessions in which the scale bar was swung.

    Parameters
    ----------
    recordings
        Those whose dots are named after the bar's two lights count.
    scope
        What the figures speak of.
    space, registration
        The rig, and how its cameras stand.

    Returns
    -------
    figures, results
        In mm; one result a session.
    """
    bar = space.scale_bar
    if bar is None or len(bar.light_ids) != 2 or len(registration.cameras) < 2:
        return [], []
    told = float(np.linalg.norm(bar.lights_m[1] - bar.lights_m[0]))
    figures, results = [], []
    for recording in recordings:
        _, px = lights_seen(recording, bar, registration)
        ends = [_met(px[light], registration)[0] for light in bar.light_ids]
        length = np.linalg.norm(ends[1] - ends[0], axis=-1)
        known = np.isfinite(length)
        if known.sum() < FEWEST:
            continue
        off, middle = length[known] - told, (ends[0] + ends[1])[known] / 2.0
        results.append(
            LengthResult(
                session=recording.name,
                carried=bar.id,
                told_m=told,
                found_m=told + float(off.mean()),
                spread_m=float(off.std(ddof=1)),
                n=int(known.sum()),
            )
        )
        figures += _length(recording, scope.model_copy(update={"carried": bar.id}), off, middle)
    return figures, results


def _length(recording: SpaceRecording, scope: Scope, off: Array, middle: Array) -> list[Figure]:
    cells = np.unique(np.floor(middle / CELL_M).astype(int), axis=0, return_inverse=True)[1]
    cells = cells.ravel()
    own = np.array([rms(off[cells == each]) for each in range(cells.max() + 1)])
    mean = np.array([off[cells == each].mean() for each in range(cells.max() + 1)])
    ends = places_interval(own, rms)
    between = t_interval(mean, LEVEL) if len(mean) > 2 else None
    how = "scale bar swung through the zone: length found minus length told"
    return [
        Figure(
            name="length-error", cause=recording.cause, statistic="rms", scope=scope,
            value=float(rms(off)) * 1e3, unit="mm",
            low=None if ends.low is None else ends.low * 1e3,
            high=None if ends.high is None else ends.high * 1e3,
            level=None if ends.low is None else LEVEL, n=len(off),
            method=f"{how}; {ends.method.replace('places', f'cubes of {CELL_M * 1e3:g} mm')}",
            basis=recording.basis,
        ),
        Figure(
            name="length-error", cause=recording.cause, statistic="max", scope=scope,
            value=float(np.abs(off).max()) * 1e3, unit="mm", n=len(off),
            method=f"{how}; the largest, whatever its sign",
            basis=recording.basis,
        ),
        Figure(
            name="length-error", cause=recording.cause, statistic="mean", scope=scope,
            value=float(off.mean()) * 1e3, unit="mm",
            low=None if between is None else between.low * 1e3,
            high=None if between is None else between.high * 1e3,
            level=None if between is None else LEVEL, n=len(off),
            method=f"{how}; interval over cubes of {CELL_M * 1e3:g} mm; what the bar itself is "
            "off by is in it",
            basis=recording.basis,
        ),
    ]  # fmt: skip


def reprojection_figures(
    recordings: Sequence[SpaceRecording],
    scope: Scope,
    space: ResolvedSpace,
    registration: SpaceRegistration,
) -> list[Figure]:
    """How far dots lie from where the point that they make is seen.

    Parameters
    ----------
    recordings
        Whose dots are named after lights.
    scope, space, registration
        As in `length_figures`.

    Returns
    -------
    list of Figure
        In px, for each thing those of sessions with the same causes together.
    """
    if len(registration.cameras) < 2:
        return []
    things = [*space.things, *([space.scale_bar] if space.scale_bar else [])]
    groups: dict[tuple[str, str | None, str], list[Array]] = {}
    for recording in recordings:
        for thing in things:
            for px in lights_seen(recording, thing, registration)[1].values():
                key = thing.id, recording.cause, recording.basis
                groups.setdefault(key, []).append(_met(px, registration)[1])
    figures = []
    for (carried, cause, basis), left in groups.items():
        miss = np.concatenate(left)
        miss = miss[np.isfinite(miss).all(axis=-1)]
        if len(miss) < FEWEST:
            continue
        figures.append(
            Figure(
                name="reprojection", cause=cause, statistic="rms",  # type: ignore[arg-type]
                scope=scope.model_copy(update={"carried": carried}),
                value=float(np.sqrt(np.mean(np.sum(miss**2, axis=-1)))), unit="px", n=len(miss),
                method="distance of each dot from where the point met by all cameras is seen; "
                "with two cameras one in four directions is left to see it in; no interval, "
                "neighbouring frames go together",
                basis=basis,  # type: ignore[arg-type]
            )
        )  # fmt: skip
    return figures
