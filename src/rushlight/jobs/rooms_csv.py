"""What was found in many rooms, as a table for spreadsheets."""

from __future__ import annotations

import csv
import io

from rushlight.records.search_rooms import RoomsResult

_CSV_NUMBERS = (
    "current_a", "cells", "frame_rate_hz", "exposure_s", "cost", "error_rms_m", "error_worst_m",
    "coverage", "coverage_clear", "delay_s", "battery_s", "build_s",
)  # fmt: skip
_CSV_NAMES = ("place", "camera", "filter", "emitter", "cell")
_CSV_POINTS = {"position_m": "stands_{}_m", "look_at_m": "looks_{}_m"}


def as_csv(result: RoomsResult) -> str:
    """The result as a table, a row a room; what is unknown stays empty."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    points = [name.format(axis) for name in _CSV_POINTS.values() for axis in "xyz"]
    writer.writerow(
        [
            "room",
            "row",
            "fits",
            *_CSV_NAMES,
            *points,
            *_CSV_NUMBERS,
            "currency",
            "misses",
            "warned",
            "why",
        ]
    )
    for each in result.rooms:
        one = each.taken
        if one is None:
            blank = [""] * (len(_CSV_NAMES) + len(points) + len(_CSV_NUMBERS) + 3)
            writer.writerow([each.room, each.row, "no", *blank, " ".join(each.why)])
            continue
        names = [getattr(one, name) or "none" for name in _CSV_NAMES]
        places = [f"{step:.4g}" for name in _CSV_POINTS for step in getattr(one, name)]
        numbers = [getattr(one, name) for name in _CSV_NUMBERS]
        shown = ["" if number != number else f"{number:.6g}" for number in numbers]
        told = [", ".join(words) for words in (one.missed, one.warned)]
        last = [each.currency, *told, " ".join(each.why)]
        writer.writerow([each.room, each.row, "yes", *names, *places, *shown, *last])
    return out.getvalue()
