"""What serves a rig's lights, as rows of a table: alike for command and page."""

from __future__ import annotations

import math

from rushlight.records.light_range import LightRange

_SETTINGS = {
    "exposure": ("exposure [ms]", 1e3),
    "current": ("current [mA]", 1e3),
    "aperture": ("f-number", 1.0),
    "product": ("exposure × current ÷ f-number² [mA ms]", 1e6),
}
"""Words, and by what a value in SI units is multiplied."""
_ENDS = {
    "too weak": "else weak",
    "clips": "else clips",
    "camera": "camera",
    "part": "part bears",
    "looked": "tried so far",
}


def together_rows(light: LightRange) -> list[list[object]]:
    """Setting, planned value, and both ends of what serves all lights of a camera.

    Ends are rounded to three digits into the range, so that what is shown serves too; a rig of
    several cameras names the camera of each row. None stands for what is not known.
    """
    several = len({one.camera for one in light.together}) > 1
    last = {one.camera: one for one in light.together}
    rows: list[list[object]] = []
    for one in last.values():
        camera = f"{one.camera}: " if several else ""
        for span in one.spans:
            words, factor = _SETTINGS[span.setting]
            planned = None if span.planned is None else f"{factor * span.planned:.3g}"
            low, high = (
                rounded_into(span.low, factor, up=True),
                rounded_into(span.high, factor, up=False),
            )
            if low is None or high is None or span.low_by is None or span.high_by is None:
                rows.append([camera + words, planned, "none serves", None])
                continue
            ends = [f"{low} ({_ENDS[span.low_by]})", f"{high} ({_ENDS[span.high_by]})"]
            rows.append([camera + words, planned, *ends])
        for each in one.filters:
            if not each.planned:
                words = f"with {each.filter or 'no filter'} [ms]"
                low = rounded_into(each.low_s, 1e3, up=True) or "none serves"
                rows.append([camera + words, None, low, rounded_into(each.high_s, 1e3, up=False)])
    return rows


def rounded_into(value: float | None, factor: float, up: bool) -> str | None:
    """One end of a range to three digits, rounded into the range: what is shown serves too."""
    if value is None or value <= 0.0:
        return None
    digit = 10.0 ** (math.floor(math.log10(factor * value)) - 2)
    steps = round(factor * value / digit, 6)
    return f"{digit * (math.ceil(steps) if up else math.floor(steps)):.3g}"
