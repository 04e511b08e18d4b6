"""The tables that show light and exposure solved together: words and rounding only."""

from __future__ import annotations

from rushlight.jobs.light_rows import together_rows
from rushlight.records.light_range import LightPlace, LightRange, LightWindow, Strobe
from rushlight.records.plan import Plan

Table = tuple[str, list[str], list[list[object]]]

_MOST_CHOICES = 14


def tables(plan: Plan) -> list[Table]:
    """Exposure ranges, their extremes, what would widen them, the room's light, strobing."""
    light = plan.light
    if light is None:
        return []
    found = [
        _windows(light),
        _together(light),
        _extremes(light),
        _choices(light),
        _ambient(light),
        _strobes(light),
    ]
    return [table for table in found if table[2]]


def _ms(value: float | None) -> str | None:
    """A time in ms to three digits."""
    return None if value is None else f"{1e3 * value:.3g}"


def _irradiance(value: float | None) -> str | None:
    return None if value is None else f"{value:.3g}"


def _stops(value: float | None) -> str:
    if value is None:
        return "none"
    return "none" if value < 0.0 else f"{value:.1f}"


def _only_camera(light: LightRange) -> str | None:
    """The camera to name above a table; None where each row has to name its own."""
    cameras = {one.camera for one in light.windows}
    return cameras.pop() if len(cameras) == 1 else None


def _above(title: str, light: LightRange) -> str:
    camera = _only_camera(light)
    return title if camera is None else f"{title}, for camera {camera}"


def _first(light: LightRange) -> str:
    return "camera, light" if _only_camera(light) is None else "light"


def _who(one: LightWindow | Strobe, light: LightRange) -> str:
    name = one.carried or "all lights"
    return f"{one.camera}, {name}" if _only_camera(light) is None else name


def _windows(light: LightRange) -> Table:
    rows: list[list[object]] = [
        [
            _who(one, light),
            _ms(one.least_s) or "never",
            _ms(one.fullest_s),
            _ms(one.greatest_s),
            f"{_ms(one.shortest_s)} to {_ms(one.period_s)}",
            _ms(one.exposure_s),
            one.standing,
            _stops(one.usable_stops),
        ]
        for one in light.windows
    ]
    columns = [
        _first(light),
        _strong(light),
        f"{100 * light.fullest:.0f} % full [ms]",
        "clips [ms]",
        "camera can [ms]",
        "the rig's [ms]",
        "which is",
        "spare [stops]",
    ]
    return _above("Exposures for every place and way of holding", light), columns, rows


def _together(light: LightRange) -> Table:
    """All lights of a camera together; `plan.json` holds each."""
    title = "What serves all lights, each setting with the others as planned"
    return _above(title, light), ["setting", "planned", "from", "to"], together_rows(light)


def _strong(light: LightRange) -> str:
    return f"{light.peak_over_noise:g} × noise [ms]"


def _extremes(light: LightRange) -> Table:
    rows: list[list[object]] = []
    for one in light.windows:
        for word, place in (("weakest", one.weakest), ("strongest", one.strongest)):
            if place is not None:
                rows.append([_who(one, light), word, *_place(place)])
    columns = [
        _first(light),
        "dot",
        "x, y [m]",
        "tilt, lean [°]",
        "itself / patch / side light's [%]",
        "off axis [°]",
        "filter passes [%]",
    ]
    return _above("The weakest and the strongest dot, and their parts", light), columns, rows


def _place(place: LightPlace) -> list[object]:
    shares = (place.own_share, place.glow_share, place.side_glow_share)
    return [
        f"{place.x_m:.2f}, {place.y_m:.2f}",
        f"{place.tilt_deg:.0f}, {place.lean_deg:.0f}",
        " / ".join(f"{100 * share:.0f}" for share in shares),
        f"{place.off_axis_deg:.0f}",
        f"{100 * place.filter_share:.0f}",
    ]


def _choices(light: LightRange) -> Table:
    rows: list[list[object]] = [
        [
            one.change,
            _ms(one.least_s) or "never",
            _ms(one.greatest_s),
            _stops(one.usable_stops),
            "yes" if one.widens else "no",
        ]
        for one in light.choices[:_MOST_CHOICES]
    ]
    columns = ["change", _strong(light), "clips [ms]", "spare [stops]", "widens"]
    return "Other choices of light and exposure, the widest range first (each alone)", columns, rows


def _ambient(light: LightRange) -> Table:
    rows: list[list[object]] = [
        [
            _who(one, light),
            _irradiance(one.ambient_w_m2),
            _irradiance(one.ambient_too_weak_w_m2),
            _irradiance(one.ambient_clips_w_m2),
            _irradiance(one.ambient_none_serves_w_m2),
        ]
        for one in light.windows
    ]
    columns = [_first(light), "planned", "too weak from", "clips from", "no exposure serves from"]
    return "How much infrared light the room may bring [W/m²], at the rig's exposure", columns, rows


def _strobes(light: LightRange) -> Table:
    rows: list[list[object]] = [
        [
            _who(one, light),
            f"{100 * one.duty:.2g} %" if one.duty > 0.0 else "no common moment",
            f"{one.gain:.3g}" if one.gain > 0.0 else "none",
            one.limited_by,
            _irradiance(one.ambient_too_weak_w_m2),
        ]
        for one in light.strobes
    ]
    columns = [
        _first(light),
        "lit for",
        "times as bright",
        "ended by",
        "too weak from [W/m²]",
    ]
    title = (
        "Lit only while the camera exposes, at the same mean current (it must be told when, "
        "by wire or radio)"
    )
    return title, columns, rows
