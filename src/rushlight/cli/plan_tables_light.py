"""The tables that show light and exposure solved together: words and rounding only."""

from __future__ import annotations

from rushlight.records.light_range import LightPlace, LightRange, LightWindow
from rushlight.records.plan import Plan

Table = tuple[str, list[str], list[list[object]]]

_MOST_CHOICES = 14


def tables(plan: Plan) -> list[Table]:
    """Exposure ranges, their extremes, what would widen them, the room's light, strobing."""
    light = plan.light
    if light is None:
        return []
    found = [_windows(light), _extremes(light), _choices(light), _ambient(light), _strobes(light)]
    return [table for table in found if table[2]]


def time(value: float | None) -> str | None:
    """A time in ms to three digits."""
    return None if value is None else f"{1e3 * value:.3g} ms"


def _irradiance(value: float | None) -> str | None:
    return None if value is None else f"{value:.3g}"


def _stops(value: float | None) -> str:
    if value is None:
        return "none"
    return "none" if value < 0.0 else f"{value:.1f}"


def _who(window: LightWindow) -> str:
    return f"{window.camera}, {window.carried or 'all lights'}"


def _windows(light: LightRange) -> Table:
    rows: list[list[object]] = [
        [
            _who(one),
            time(one.least_s) or "never",
            time(one.fullest_s),
            time(one.greatest_s),
            f"{time(one.shortest_s)} to {time(one.period_s)}",
            f"{time(one.exposure_s)}: {one.standing}",
            _stops(one.usable_stops),
        ]
        for one in light.windows
    ]
    title = (
        "Exposure that serves, over the whole view and the outermost ways of holding "
        f"(strong enough: {light.peak_over_noise:g} times the noise)"
    )
    columns = [
        "camera, light",
        "strong enough from",
        f"{100 * light.fullest:.0f} % full at",
        "clips from",
        "camera allows",
        "the rig's",
        "stops to spare",
    ]
    return title, columns, rows


def _extremes(light: LightRange) -> Table:
    rows: list[list[object]] = []
    for one in light.windows:
        for word, place in (("weakest", one.weakest), ("strongest", one.strongest)):
            if place is not None:
                rows.append([_who(one), word, *_place(place)])
    columns = [
        "camera, light",
        "dot",
        "at x, y [m]",
        "tilt, lean",
        "light itself / its patch / side light's patch",
        "off axis",
        "filter passes",
    ]
    return "Where the dots are weakest and strongest, and what they consist of", columns, rows


def _place(place: LightPlace) -> list[object]:
    shares = (place.own_share, place.glow_share, place.side_glow_share)
    return [
        f"{place.x_m:.2f}, {place.y_m:.2f}",
        f"{place.tilt_deg:.0f}°, {place.lean_deg:.0f}°",
        " / ".join(f"{100 * share:.0f} %" for share in shares),
        f"{place.off_axis_deg:.0f}°",
        f"{100 * place.filter_share:.0f} %",
    ]


def _choices(light: LightRange) -> Table:
    rows: list[list[object]] = [
        [
            one.kind,
            one.change,
            time(one.least_s) or "never",
            time(one.greatest_s),
            _stops(one.usable_stops),
            "yes" if one.widens else "no",
        ]
        for one in light.choices[:_MOST_CHOICES]
    ]
    columns = ["what", "change", "strong enough from", "clips from", "stops to spare", "widens"]
    return "Other choices of light and exposure, the widest range first (each alone)", columns, rows


def _ambient(light: LightRange) -> Table:
    rows: list[list[object]] = [
        [
            _who(one),
            _irradiance(one.ambient_w_m2),
            _irradiance(one.ambient_too_weak_w_m2),
            _irradiance(one.ambient_clips_w_m2),
            _irradiance(one.ambient_none_serves_w_m2),
        ]
        for one in light.windows
    ]
    columns = ["camera, light", "planned", "too weak from", "clips from", "no exposure serves from"]
    return "How much infrared light the room may bring [W/m²], at the rig's exposure", columns, rows


def _strobes(light: LightRange) -> Table:
    rows: list[list[object]] = [
        [
            f"{one.camera}, {one.carried}",
            f"{100 * one.duty:.2g} %" if one.duty > 0.0 else "no common moment",
            f"{one.gain:.3g}" if one.gain > 0.0 else "none",
            one.limited_by,
            _irradiance(one.ambient_too_weak_w_m2),
        ]
        for one in light.strobes
    ]
    columns = [
        "camera, light",
        "lit for",
        "brighter at the same mean current",
        "ended by",
        "then too weak from [W/m²]",
    ]
    title = "Lit only while the camera exposes (it must be told when, by wire or radio)"
    return title, columns, rows
