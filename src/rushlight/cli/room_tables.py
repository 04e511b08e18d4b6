"""The tables that show what a plan says of the room: words and rounding only."""

from __future__ import annotations

from rushlight.cli.rounding import number, quantity
from rushlight.records.plan import Plan
from rushlight.records.plan_room import PlanAmbient, PlanBeam, PlanReading

Table = tuple[str, list[str], list[list[object]]]


def tables(plan: Plan) -> list[Table]:
    """Light by hour, other lights in view, picture and readers, reach: what there is to tell."""
    room = plan.room
    found: list[Table] = []
    if room.ambient is not None:
        found.append(_ambient(room.ambient))
        if room.ambient.hours:
            found.append(_hours(room.ambient))
    if room.seen:
        found.append(_seen(plan))
    if room.beam is not None:
        found.append(_beam(room.beam))
    if room.reading is not None:
        found.append(_reading(room.reading))
    if room.reach:
        found.append(_reach(plan))
    return found


def _ambient(ambient: PlanAmbient) -> Table:
    rows: list[list[object]] = [
        [one.id, one.kind, _light(one.told_w_m2), _light(one.sun_w_m2)] for one in ambient.lights
    ]
    rows.append(["all, estimated", "", _light(ambient.estimated_w_m2), _light(ambient.sun_w_m2)])
    rows.append([f"reckoned with ({ambient.used})", "", number(ambient.used_w_m2), None])
    full = [_fine_percent(one) for one in (ambient.full_share, ambient.sun_full_share)]
    rows.append(["of full scale, at most", "", *full])
    if ambient.sun_coverage is not None:
        share = [f"{100.0 * one:.0f} %" for one in (ambient.coverage, ambient.sun_coverage)]
        rows.append(["coverage", "", *share])
    title = f"The room's infrared light, for camera {ambient.camera} (estimates)"
    return title, ["from", "kind", "no sun [W/m²]", "worst sun [W/m²]"], rows


def _hours(ambient: PlanAmbient) -> Table:
    rows: list[list[object]] = [
        [
            one.season,
            "none"
            if one.from_h is None or one.to_h is None
            else f"{_clock(one.from_h)} to {_clock(one.to_h)}",
            _light(one.greatest_w_m2),
            _light(one.mean_w_m2),
        ]
        for one in ambient.hours
    ]
    columns = ["equinox, solstice", "solar time", "greatest [W/m²]", "mean at worst [W/m²]"]
    return "When the sun shines onto the surface, and with how much", columns, rows


def _clock(hour: float) -> str:
    minutes = round(60.0 * hour)
    return f"{minutes // 60}:{minutes % 60:02d}"


def _seen(plan: Plan) -> Table:
    rows: list[list[object]] = [
        [
            one.camera,
            one.id,
            one.kind,
            f"{one.x_px:.0f}, {one.y_px:.0f}",
            f"{100.0 * one.full_share:.0f} % of full scale"
            if one.full_share is not None
            else None
            if one.ratio is None
            else f"{number(one.ratio)} × the weakest dot",
            "yes" if one.passes else "no",
        ]
        for one in plan.room.seen
    ]
    columns = ["camera", "light", "kind", "at [px]", "how strong", "disturbs"]
    return "Other lights in the picture (estimates)", columns, rows


def _beam(beam: PlanBeam) -> Table:
    rows: list[list[object]] = [
        ["picture in the toucher's shadow", *_percent(beam.picture_mean, beam.picture_max)],
        ["touched place in that shadow", *_percent(beam.touched_mean, beam.touched_max)],
    ]
    rows += [
        [f"head of who holds {carried} in the beam", *_percent(share), None]
        for carried, share in beam.heads.items()
    ]
    rows.append(["cameras in the beam", ", ".join(beam.cameras) or "none", None])
    return "The projector's beam", ["what", "mean", "worst place"], rows


def _reading(reading: PlanReading) -> Table:
    rows: list[list[object]] = [
        ["height of the smallest writing", _millimetres(reading.text_height_m)],
        ["can be read from", quantity(reading.farthest_m, "m")],
        ["farthest reader", quantity(reading.reader_m, "m")],
        ["writing that this reader needs", _millimetres(reading.needed_m)],
    ]
    return "Reading (AVIXA V202.01:2016, DISCAS)", ["what", "value"], rows


def _reach(plan: Plan) -> Table:
    rows: list[list[object]] = [
        [
            one.who,
            f"{one.low_m:.3f} to {one.high_m:.3f} m",
            f"{100.0 * one.share:.0f} %",
            ", ".join(one.people) or None,
        ]
        for one in plan.room.reach
    ]
    columns = ["who", "are to reach", "of the surface's height", "in this rig"]
    return "Reach above the floor (2010 ADA Standards, §308.2, advisory 308.1)", columns, rows


def _percent(*shares: float) -> list[object]:
    return [f"{100.0 * share:.0f} %" for share in shares]


def _light(w_m2: float) -> str | None:
    return "< 0.001" if 0.0 < w_m2 < 0.001 else number(w_m2)


def _fine_percent(share: float) -> str:
    return f"{number(100.0 * share)} %"


def _millimetres(length_m: float | None) -> str | None:
    return None if length_m is None else f"{1e3 * length_m:.3g} mm"
