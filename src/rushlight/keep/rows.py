"""Records as rows of the tables, and back.

SQLite's binding takes plain Python numbers only: a numpy integer would be stored as a blob, so
every value is turned here. NaN becomes NULL by the binding itself.
"""

from __future__ import annotations

import json
from typing import Any

import numpy as np

from rushlight.keep.schema import ABSENT, FIX_COV
from rushlight.records.arrays import Array
from rushlight.records.dots import Dots, Frame
from rushlight.records.session import Departure, Event, Fix, TrailLink

Row = tuple[Any, ...]
Columns = dict[str, Array]

_TRIANGLE = np.triu_indices(6)


def _happened(value: int) -> int | None:
    return None if value == ABSENT else int(value)


def frame_row(frame: Frame) -> Row:
    """A frame without its picture."""
    return (frame.camera, int(frame.index), int(frame.capture_ns), float(frame.capture_std_ns))


def dot_rows(camera: str, index: int, dots: Dots) -> list[Row]:
    """The dots of one frame, numbered as they stand."""
    index = int(index)
    numbers = np.concatenate(
        [
            dots.xy,
            dots.cov[:, 0],
            dots.cov[:, 1, 1:],
            dots.flux[:, None],
            dots.width,
            dots.peak[:, None],
        ],
        axis=1,
    ).tolist()
    rest = zip(dots.saturated.tolist(), dots.quality.tolist(), dots.reason.tolist(), strict=True)
    return [
        (camera, index, dot, *row, *end)
        for dot, (row, end) in enumerate(zip(numbers, rest, strict=True))
    ]


def link_row(link: TrailLink) -> Row:
    """One dot's membership in a trail."""
    return (
        link.camera,
        int(link.frame),
        _happened(link.dot),
        int(link.trail),
        link.carried,
        link.emitter,
        float(link.confidence),
        link.state,
    )


def fix_row(fix: Fix) -> Row:
    """One fix, with the upper triangle of its covariance."""
    return (
        int(fix.capture_ns),
        int(fix.valid_ns),
        _happened(fix.detect_ns),
        _happened(fix.map_ns),
        _happened(fix.sent_ns),
        int(fix.frame),
        fix.carried,
        fix.point,
        _happened(fix.trail),
        int(fix.dimensions),
        fix.surface,
        int(fix.switch),
        json.dumps(list(fix.cameras)),
        int(fix.predicted),
        json.dumps([float(weight) for weight in fix.hypotheses]),
        *fix.position_m.tolist(),
        *fix.quaternion.tolist(),
        *fix.cov[_TRIANGLE].tolist(),
    )


def event_row(event: Event) -> Row:
    """One event."""
    return (
        int(event.time_ns),
        event.kind,
        event.carried,
        _happened(event.trail),
        _happened(event.frame),
        event.detail,
        *map(_happened, (event.capture_ns, event.detect_ns, event.map_ns, event.sent_ns)),
    )


def departure_row(departure: Departure) -> Row:
    """One departure."""
    return (departure.output, int(departure.frame), int(departure.sent_ns))


def dots_from(columns: Columns) -> Dots:
    """The dots of one frame from the columns of its rows."""
    xx, xy, yy = (columns[f"cov_{axes}_px2"] for axes in ("xx", "xy", "yy"))
    return Dots(
        xy=np.stack([columns["x_px"], columns["y_px"]], axis=-1),
        cov=np.stack([xx, xy, xy, yy], axis=-1).reshape(-1, 2, 2),
        flux=columns["flux_dn_px"],
        width=np.stack([columns[f"width_{axes}_px2"] for axes in ("xx", "xy", "yy")], axis=-1),
        peak=columns["peak_dn"],
        saturated=columns["saturated_px"],
        quality=columns["quality"],
        reason=columns["reason"],
    )


def fix_from(columns: Columns, row: int) -> Fix:
    """One fix from the columns of the table."""
    value = {name: column[row] for name, column in columns.items()}
    cov = np.empty((6, 6))
    cov[_TRIANGLE] = [value[name] for name in FIX_COV]
    cov.T[_TRIANGLE] = cov[_TRIANGLE]
    return Fix(
        capture_ns=int(value["capture_ns"]),
        valid_ns=int(value["valid_ns"]),
        detect_ns=int(value["detect_ns"]),
        map_ns=int(value["map_ns"]),
        sent_ns=int(value["sent_ns"]),
        frame=int(value["frame"]),
        carried=value["carried"],
        point=value["point"],
        trail=int(value["trail"]),
        dimensions=int(value["dimensions"]),  # type: ignore[arg-type]
        surface=value["surface"],
        switch=bool(value["switch"]),
        cameras=tuple(json.loads(value["cameras"])),
        predicted=bool(value["predicted"]),
        hypotheses=tuple(json.loads(value["hypotheses"])),
        position_m=np.array([value["x_m"], value["y_m"], value["z_m"]]),
        quaternion=np.array([value["qw"], value["qx"], value["qy"], value["qz"]]),
        cov=cov,
    )


def link_from(columns: Columns, row: int) -> TrailLink:
    """One link from the columns of the table."""
    value = {name: column[row] for name, column in columns.items()}
    return TrailLink(
        camera=value["camera"],
        frame=int(value["frame"]),
        dot=int(value["dot"]),
        trail=int(value["trail"]),
        carried=value["carried"],
        emitter=value["emitter"],
        confidence=float(value["confidence"]),
        state=value["state"],
    )


def event_from(columns: Columns, row: int) -> Event:
    """One event from the columns of the table."""
    value = {name: column[row] for name, column in columns.items()}
    return Event(
        time_ns=int(value["time_ns"]),
        kind=value["kind"],
        carried=value["carried"],
        trail=int(value["trail"]),
        frame=int(value["frame"]),
        detail=value["detail"],
        capture_ns=int(value["capture_ns"]),
        detect_ns=int(value["detect_ns"]),
        map_ns=int(value["map_ns"]),
        sent_ns=int(value["sent_ns"]),
    )
