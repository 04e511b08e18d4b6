"""The exposures that serve with each filter of the shelf, beside the other settings' ranges."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rushlight.errors import RushlightError
from rushlight.plan.figures import Names
from rushlight.plan.light_choices import SAME_ROOM
from rushlight.plan.light_range import Windows, windows_of
from rushlight.plan.light_together import MOST_ROOM, light_spans, spans_of
from rushlight.records.light_range import FilterSpan, LightTogether, SpanSetting
from rushlight.records.parts import FilterPart
from rushlight.records.resolved import ResolvedRig, stack_rigs
from rushlight.records.rig import Rig
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.resolve import resolve


@dataclass(frozen=True)
class Filtered:
    """Every camera of a rig with one filter.

    Attributes
    ----------
    filter
        Id, or None for none.
    rig
        The rig so; None where the rig cannot take it.
    own
        For each camera, whether it is the filter that the rig has.
    note
        What the figures leave out, or why there are none.
    """

    filter: str | None
    rig: ResolvedRig | None
    own: tuple[bool, ...]
    note: str


def filtered(rig: Rig, shelf: Shelf) -> list[Filtered]:
    """The rig with each filter of the shelf, and with none."""
    filters = [part for part in shelf.of_kind("filter") if isinstance(part, FilterPart)]
    found = []
    for part in [*filters, None]:
        name = part.id if part else None
        cameras = [camera.model_copy(update={"filter": name}) for camera in rig.cameras]
        own = tuple(camera.filter == name for camera in rig.cameras)
        try:
            resolved = resolve(rig.model_copy(update={"cameras": cameras}), shelf)
        except RushlightError as error:
            found.append(Filtered(name, None, own, error.findings[0].allowed))
            continue
        found.append(Filtered(name, resolved, own, "" if all(own) else SAME_ROOM))
    return found


def light_together(
    resolved: ResolvedRig,
    camera: int,
    found: Windows,
    exposure_s: float,
    names: Names,
    groups: list[list[int]],
    fitted: list[Filtered],
    grid: tuple[int, int] = (9, 6),
) -> list[LightTogether]:
    """Exposure, current, aperture and filter of one camera, for each group of lights.

    Parameters
    ----------
    resolved, camera, found, exposure_s
        As in `spans_of`.
    names
        Of cameras and lights.
    groups
        Numbers of the lights that are taken together.
    fitted
        As `filtered` gives it.
    grid
        Columns and rows of places.
    """
    spans = spans_of(resolved, camera, found, exposure_s, *grid)
    e, stop = resolved.emitters, float(resolved.cameras.f_number[0, camera])
    current = np.asarray(e.current_a[0], float)
    planned: dict[SpanSetting, np.ndarray] = {
        "exposure": np.full(len(current), exposure_s),
        "current": current,
        "aperture": np.full(len(current), stop),
        "product": exposure_s * current / stop**2,
    }
    filters = _filter_spans(camera, groups, fitted, grid)
    return [
        LightTogether(
            camera=names.cameras[camera],
            carried=names.carried[lights[0]] if len(lights) == 1 else None,
            spans=light_spans(spans, planned, lights),
            most_room=MOST_ROOM,
            filters=[row[number] for row in filters],
        )
        for number, lights in enumerate(groups)
    ]


def _filter_spans(
    camera: int, groups: list[list[int]], fitted: list[Filtered], grid: tuple[int, int]
) -> list[list[FilterSpan]]:
    """A row a filter, a column a group of lights."""
    rigs = [each.rig for each in fitted if each.rig is not None]
    batch = stack_rigs(rigs)
    found, c = windows_of(batch, camera, *grid), batch.cameras
    rows, at = [], -1
    for each in fitted:
        at += each.rig is not None
        row = []
        for lights in groups:
            low = high = passed = None
            if each.rig is not None:
                least = float(found.least_s[at, lights].max())
                most = float(found.greatest_s[at, lights].min())
                least = max(least, float(c.shortest_exposure_s[at, camera]))
                most = min(most, 1.0 / float(c.frame_rate_hz[at, camera]))
                if least <= most:
                    low, high = least, most
                passed = float(c.transmission[at, camera, lights].min())
            row.append(
                FilterSpan(
                    filter=each.filter,
                    planned=each.own[camera],
                    low_s=low,
                    high_s=high,
                    passes=passed,
                    note=each.note,
                )
            )
        rows.append(row)
    return rows
