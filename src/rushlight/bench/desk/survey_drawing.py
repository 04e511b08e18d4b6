"""Drawings of the survey page as SVG: the display with its marks, and the picture as found."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from rushlight.bench.desk.frame import words_html
from rushlight.bench.texts import text
from rushlight.jobs.survey_form import Line
from rushlight.jobs.survey_sketch import SurveySketch

_WIDE, _EDGE = 640.0, 78.0
_BOX = f'<svg viewBox="0 0 {_WIDE:.0f} %.0f" role="img" aria-label="%s" class="survey-svg">'

Places = dict[str, tuple[float, float]]


class _Sheet:
    """Metres on a surface to places on the drawing, y upwards."""

    def __init__(self, size_m: tuple[float, float]) -> None:
        self._scale = (_WIDE - 2 * _EDGE) / size_m[0]
        self.high = size_m[1] * self._scale + 2 * _EDGE

    def at(self, place: Sequence[float]) -> tuple[float, float]:
        return _EDGE + place[0] * self._scale, self.high - _EDGE - place[1] * self._scale

    def outline(self, corners: Iterable[Sequence[float]], kind: str) -> str:
        points = " ".join(f"{x:.1f},{y:.1f}" for x, y in map(self.at, corners))
        return f'<polygon points="{points}" class="{kind}"/>'


def display_svg(size_m: tuple[float, float], marks_m: Places, lines: Sequence[Line]) -> str:
    """The display as a person stands before it: its marks, and what is to be read, numbered.

    Parameters
    ----------
    size_m
        Of the surface [m].
    marks_m
        Places of the marks [m].
    lines
        Readings; those not filled in yet are dashed.
    """
    sheet = _Sheet(size_m)
    wide, high = size_m
    parts = [_BOX % (sheet.high, words_html(text("survey.drawing.words", count=len(lines))))]
    parts.append(sheet.outline([(0, 0), (wide, 0), (wide, high), (0, high)], "survey-lit"))
    seen: dict[tuple[int, int], int] = {}
    labels = []
    for number, line in enumerate(lines, 1):
        kind = f"survey-reading {'read' if line.filled else ''} {line.kind}"
        ends = [marks_m[name] for name in (line.one, line.other) if name in marks_m]
        if len(ends) == 2:
            (x1, y1), (x2, y2) = map(sheet.at, ends)
            parts.append(
                f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" class="{kind}"/>'
            )
            share = 0.3  # off the middle, where diagonals cross
            where = (x1 + share * (x2 - x1), y1 + share * (y2 - y1))
        elif ends:
            where = sheet.at(ends[0])
            where = (where[0], where[1] + 26)
        else:
            continue
        spot = (round(where[0] / 24), round(where[1] / 24))
        shift = 26 * seen.get(spot, 0)
        seen[spot] = seen.get(spot, 0) + 1
        x, y = where[0] + shift, where[1]
        labels.append(
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="12" class="survey-number"/>'
            f'<text x="{x:.1f}" y="{y:.1f}" class="survey-count">{number}</text>'
        )
    for name, place in marks_m.items():
        x, y = sheet.at(place)
        side = "start" if place[0] < 0.01 * wide else "end" if place[0] > 0.99 * wide else "middle"
        up = place[1] > 0.9 * high
        parts.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="5" class="survey-mark"/>')
        shown = {"start": x - 8, "end": x + 8, "middle": x}[side]
        below = y + 26
        if side != "middle" and 0.1 * high < place[1] < 0.9 * high:  # beside the edge, not on it
            shown, below = (x + 12 if side == "start" else x - 12), y + 5
        parts.append(
            f'<text x="{shown:.1f}" y="{(y - 14 if up else below):.1f}" '
            f'class="survey-name" text-anchor="{side}">{words_html(name)}</text>'
        )
    return "".join([*parts, *labels, "</svg>"])


def picture_svg(sketch: SurveySketch, magnified: bool) -> str:
    """The picture as found beside the rectangle of the rig, to scale or with departures drawn
    larger."""
    sheet = _Sheet(sketch.size_m)
    wide, high = sketch.size_m
    words = text("survey.magnified", times=sketch.times) if magnified else text("survey.to_scale")
    found = sketch.shown_m if magnified else sketch.corners_m
    parts = [
        _BOX % (sheet.high, words_html(words)),
        sheet.outline([(0, 0), (wide, 0), (wide, high), (0, high)], "survey-plain"),
        sheet.outline(found, "survey-found"),
    ]
    for corner in found:
        x, y = sheet.at(corner)
        parts.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="5" class="survey-corner"/>')
    return "".join([*parts, "</svg>"])


def wall_svg(sketch: SurveySketch) -> str:
    """The wall's departure from a plane, in figures with their colours.

    Raises
    ------
    ValueError
        When the sketch has none.
    """
    if sketch.wall_mm is None:
        raise ValueError("expected a sketch with wall_mm")
    rows = sketch.wall_mm
    values = [each for row in rows for each in row]
    most = max(map(abs, values)) or 1.0
    sheet = _Sheet(sketch.size_m)
    left, top = sheet.at((0.0, sketch.size_m[1]))
    right, foot = sheet.at((sketch.size_m[0], 0.0))
    wide, high = (right - left) / len(rows[0]), (foot - top) / len(rows)
    parts = [_BOX % (sheet.high, words_html(text("survey.wall")))]
    for i, row in enumerate(rows):
        for j, value in enumerate(row):
            kind = "survey-toward" if value >= 0.0 else "survey-away"
            x, y = left + j * wide, top + i * high
            parts.append(
                f'<rect x="{x:.1f}" y="{y:.1f}" width="{wide:.1f}" height="{high:.1f}" '
                f'class="{kind}" fill-opacity="{0.7 * abs(value) / most:.2f}"/>'
            )
            if i % 4 == 0 and j % 4 == 0:
                parts.append(
                    f'<text x="{x + wide / 2:.1f}" y="{y + high / 2 + 5:.1f}" '
                    f'class="survey-name" text-anchor="middle">{value:+.1f}</text>'
                )
    return "".join([*parts, "</svg>"])
