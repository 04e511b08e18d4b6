"""Drawings of the aim page as SVG: the room from above and the side, and the places to hold."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from rushlight.bench.desk.frame import words_html
from rushlight.bench.texts import text

_WIDE, _MARGIN = 640.0, 44.0
_TALLEST = 460.0
_MARKS = {"held": "✓", "passed over": "–", "open": ""}
ABOVE, SIDE = (0, 2), (2, 1)
"""Axes of the room that run across and along a drawing."""

Point = Sequence[float]


class _Plan:
    """Metres of the room to places on a drawing, to one scale both ways."""

    def __init__(self, axes: tuple[int, int], points: Sequence[Point]) -> None:
        self._across, self._along = axes
        across = [each[self._across] for each in points]
        along = [each[self._along] for each in points]
        self._left, self._low, self._top = min(across), min(along), max(along)
        spread = max(max(across) - self._left, 1e-6)
        rise = max(self._top - self._low, 1e-6)
        self.scale = min((_WIDE - 2 * _MARGIN) / spread, (_TALLEST - 2 * _MARGIN) / rise)
        self.high = rise * self.scale + 2 * _MARGIN
        self._shift = (_WIDE - spread * self.scale) / 2.0

    def at(self, point: Point) -> tuple[float, float]:
        across = self._shift + (point[self._across] - self._left) * self.scale
        # From above the surface is at the top and the user below; from the side up is up.
        along = point[self._along]
        down = along - self._low if self._along == 2 else self._top - along
        return across, _MARGIN + down * self.scale

    def line(self, one: Point, other: Point, kind: str) -> str:
        (x1, y1), (x2, y2) = self.at(one), self.at(other)
        return f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" class="{kind}"/>'

    def words(self, point: Point, words: str, kind: str = "", down: float = 0.0) -> str:
        x, y = self.at(point)
        side = "end" if x > _WIDE - 130 else "start"
        x = x - 12 if side == "end" else x + 12
        return (
            f'<text x="{x:.1f}" y="{y + down:.1f}" text-anchor="{side}" '
            f'class="aim-name {kind}">{words_html(words)}</text>'
        )


def room_svg(
    sketch: Mapping[str, Any], aim: Mapping[str, Any] | None, axes: tuple[int, int]
) -> str:
    """The room to scale with the camera as planned, and as found where it is.

    Parameters
    ----------
    sketch
        As `rushlight.jobs.aim.aim_sketch`.
    aim
        As `rushlight.jobs.aim.AimResult.as_dict`, or None.
    axes
        `ABOVE` or `SIDE`.
    """
    planned = aim["planned"] if aim else sketch["planned"]
    cameras = [("planned", planned)] + ([("found", aim["found"])] if aim else [])
    corners = sketch["surfaces"][0]["corners_m"]
    floor = float(sketch["floor_m"])
    points = [*corners, [corners[0][0], floor, 0.0]]
    for _, camera in cameras:
        points += [camera["at_m"], *camera["view_m"]]
    plan = _Plan(axes, points)
    key = "above" if axes == ABOVE else "side"
    parts = [
        f'<svg viewBox="0 0 {_WIDE:.0f} {plan.high:.0f}" role="img" class="aim-svg" '
        f'aria-label="{words_html(text(f"aim.view.{key}"))}">'
    ]
    ends = (corners[0], corners[1]) if axes == ABOVE else (corners[0], corners[3])
    if axes == SIDE:
        far = [0.0, floor, max(point[2] for point in points)]
        parts.append(plan.line([0.0, floor, 0.0], far, "aim-floor"))
    for name, camera in cameras:
        at = plan.at(camera["at_m"])
        seen = [plan.at(each) for each in camera["view_m"]]
        # The two rays that are farthest apart as drawn: the edges of what is seen.
        which = 0 if axes == ABOVE else 1
        edges = min(seen, key=lambda p: p[which]), max(seen, key=lambda p: p[which])
        wedge = " ".join(f"{x:.1f},{y:.1f}" for x, y in (at, *edges))
        parts.append(f'<polygon points="{wedge}" class="aim-view {name}"/>')
    parts.append(plan.line(*ends, "aim-surface"))
    parts.append(plan.words(ends[1], text("aim.surface"), down=-10.0))
    for name, camera in cameras:
        x, y = plan.at(camera["at_m"])
        shape = (
            f'<rect x="{x - 7:.1f}" y="{y - 7:.1f}" width="14" height="14" '
            'class="aim-lens planned"/>'
            if name == "planned"
            else f'<circle cx="{x:.1f}" cy="{y:.1f}" r="8" class="aim-lens found"/>'
        )
        down = -10.0 if name == "planned" else 20.0
        parts.append(shape + plan.words(camera["at_m"], text(f"aim.{name}"), name, down))
    x, y = _MARGIN / 2, plan.high - 14
    parts.append(
        f'<path d="M{x:.0f} {y - 5:.0f}v5h{plan.scale:.1f}v-5" class="aim-scale"/>'
        f'<text x="{x + plan.scale + 8:.1f}" y="{y:.0f}" class="aim-name">1 m</text>'
    )
    return "".join([*parts, "</svg>"])


def places_svg(
    places: Sequence[Mapping[str, Any]], states: Mapping[str, str], now: str | None, share: float
) -> str:
    """The display as a person stands before it: each place with its state, the one to hold large.

    Parameters
    ----------
    places
        Name and place of each [m].
    states
        By name.
    now
        Where to hold the light, or None.
    share
        How much of the hold is over.
    """
    wide = max(float(each["x_m"]) for each in places)
    high = max(float(each["y_m"]) for each in places)
    scale = (_WIDE - 220.0) / wide
    tall = high * scale + 110.0
    parts = [
        f'<svg viewBox="0 0 {_WIDE:.0f} {tall:.0f}" role="img" class="aim-svg" '
        f'aria-label="{words_html(text("aim.places"))}">',
        f'<rect x="110" y="50" width="{wide * scale:.1f}" height="{high * scale:.1f}" '
        'class="aim-display"/>',
    ]
    for each in places:
        name = str(each["name"])
        x = 110.0 + float(each["x_m"]) * scale
        y = 50.0 + (high - float(each["y_m"])) * scale
        state = states.get(name, "open")
        kind = "now" if name == now else state.replace(" ", "-")
        radius = 20 if name == now else 12
        parts.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius}" class="aim-place {kind}"/>')
        if name == now:
            turn = 2 * 3.14159 * 26
            parts.append(
                f'<circle cx="{x:.1f}" cy="{y:.1f}" r="26" class="aim-held" '
                f'stroke-dasharray="{share * turn:.1f} {turn:.1f}" '
                f'transform="rotate(-90 {x:.1f} {y:.1f})"/>'
            )
        mark = _MARKS.get(state, "") if name != now else ""
        parts.append(
            f'<text x="{x:.1f}" y="{y + 5:.1f}" text-anchor="middle" class="aim-mark">{mark}</text>'
            f'<text x="{x:.1f}" y="{y + 44:.1f}" text-anchor="middle" class="aim-name {kind}">'
            f"{words_html(text(f'aim.mark.{name}'))}</text>"
        )
    return "".join([*parts, "</svg>"])
