"""Drawings to scale, as SVG: metres in, millimetres of paper out.

Ink is `currentColor`, and the other colours are plain attributes, so that a page can recolour
a drawing for a dark screen while the file by itself shows the light palette.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from xml.sax.saxutils import escape, quoteattr

PAPER, INK, EMBER, REED = "#FBF7EF", "#22262B", "#B34A12", "#46623F"

SCALES = (2, 5, 10, 20, 25, 40, 50, 75, 100, 200, 500)
"""Denominators to choose from."""
WIDEST_MM, TALLEST_MM = 180.0, 150.0
"""Room on a page: A4 less margins of 15 mm each side, and half its height."""
CHECK_MM = 100.0
"""Length of the line that tells whether the print is true to scale."""
TEXT_MM = 3.4

Point = tuple[float, float]


@dataclass(frozen=True)
class Drawing:
    """A drawing and what it shows.

    Attributes
    ----------
    name
        Of its file, without ending.
    title, description
        For people who see it, and for those who do not.
    svg
        The drawing as text.
    """

    name: str
    title: str
    description: str
    svg: str


@dataclass
class Sheet:
    """A sheet of paper on which one millimetre stands for `scale` millimetres.

    Parameters
    ----------
    left_m, right_m, bottom_m, top_m
        What must fit on it [m]; `bottom_m` stands at the lower end of the paper.
    margins_mm
        Left, right, bottom and top, for dimensions and words [mm].
    """

    left_m: float
    right_m: float
    bottom_m: float
    top_m: float
    margins_mm: tuple[float, float, float, float] = (22.0, 14.0, 14.0, 8.0)
    elements: list[str] = field(default_factory=list)

    @property
    def scale(self) -> int:
        """The denominator: 20 for 1 : 20."""
        left, right, bottom, top = self.margins_mm
        need = max(
            1e3 * abs(self.right_m - self.left_m) / (WIDEST_MM - left - right),
            1e3 * abs(self.top_m - self.bottom_m) / (TALLEST_MM - bottom - top),
        )
        return next((scale for scale in SCALES if scale >= need), math.ceil(need / 100) * 100)

    @property
    def drawn_mm(self) -> Point:
        """Width and height of the drawing without margins [mm]."""
        return (
            1e3 * abs(self.right_m - self.left_m) / self.scale,
            1e3 * abs(self.top_m - self.bottom_m) / self.scale,
        )

    def at(self, point_m: Point) -> Point:
        """Where on the paper a place lies [mm], from the upper left."""
        x_step = 1e3 / self.scale * math.copysign(1.0, self.right_m - self.left_m)
        y_step = 1e3 / self.scale * math.copysign(1.0, self.top_m - self.bottom_m)
        aside = (WIDEST_MM - self.margins_mm[0] - self.margins_mm[1] - self.drawn_mm[0]) / 2
        return (
            self.margins_mm[0] + aside + (point_m[0] - self.left_m) * x_step,
            self.margins_mm[3] + (self.top_m - point_m[1]) * y_step,
        )

    def line(
        self, a_m: Point, b_m: Point, role: str, width_mm: float = 0.35, **style: object
    ) -> None:
        """A straight line between two places."""
        (x1, y1), (x2, y2) = self.at(a_m), self.at(b_m)
        self._stroke(x1, y1, x2, y2, role, width_mm, style)

    def _stroke(
        self,
        x1: float,
        y1: float,
        x2: float,
        y2: float,
        role: str,
        width_mm: float,
        style: dict[str, object],
    ) -> None:
        attributes = _attributes({"stroke": "currentColor", "stroke-width": width_mm, **style})
        self.elements.append(
            f'<line class="{role}" x1="{x1:.3f}" y1="{y1:.3f}" x2="{x2:.3f}" y2="{y2:.3f}"'
            f"{attributes}/>"
        )

    def polygon(self, corners_m: Sequence[Point], role: str, **style: object) -> None:
        """A closed shape."""
        places = " ".join(f"{x:.3f},{y:.3f}" for x, y in map(self.at, corners_m))
        self.elements.append(f'<polygon class="{role}" points="{places}"{_attributes(style)}/>')

    def dot(self, centre_m: Point, radius_mm: float, role: str, **style: object) -> None:
        """A disc whose size is paper's, not the room's."""
        x, y = self.at(centre_m)
        self.elements.append(
            f'<circle class="{role}" cx="{x:.3f}" cy="{y:.3f}" r="{radius_mm:.2f}"'
            f"{_attributes(style)}/>"
        )

    def text(
        self,
        at_m: Point,
        words: str,
        shift_mm: Point = (0.0, 0.0),
        anchor: str = "middle",
        turned: bool = False,
        **style: object,
    ) -> None:
        """Words beside a place; `shift_mm` to the right and down on the paper."""
        x, y = self.at(at_m)
        self._words(x + shift_mm[0], y + shift_mm[1], words, anchor, turned, style)

    def _words(
        self,
        x: float,
        y: float,
        words: str,
        anchor: str = "middle",
        turned: bool = False,
        style: dict[str, object] | None = None,
    ) -> None:
        turn = f' transform="rotate(-90 {x:.3f} {y:.3f})"' if turned else ""
        attributes = _attributes({"font-size": TEXT_MM, **(style or {})})
        self.elements.append(
            f'<text x="{x:.3f}" y="{y:.3f}" text-anchor="{anchor}" fill="currentColor" '
            f'stroke="{PAPER}" stroke-width="0.9" stroke-linejoin="round" paint-order="stroke"'
            f"{attributes}{turn}>{escape(words)}</text>"
        )

    def dimension(self, a_m: Point, b_m: Point, words: str, away_mm: float) -> None:
        """A measured distance along one axis of the paper, drawn beside it.

        Parameters
        ----------
        a_m, b_m
            Its ends [m]; upright or level.
        words
            The length.
        away_mm
            How far to draw it from its ends: to the right for an upright one, downward for a
            level one; below 0 the other way [mm].
        """
        (x1, y1), (x2, y2) = self.at(a_m), self.at(b_m)
        upright = abs(x1 - x2) < abs(y1 - y2)
        dx, dy = (away_mm, 0.0) if upright else (0.0, away_mm)
        tick = (1.2, 0.0) if upright else (0.0, 1.2)
        length = math.hypot(b_m[0] - a_m[0], b_m[1] - a_m[1])
        self.elements.append(f'<g class="dimension" data-metres="{length:.4f}">')
        self._stroke(x1 + dx, y1 + dy, x2 + dx, y2 + dy, "measure", 0.25, {})
        for x, y in ((x1, y1), (x2, y2)):
            self._stroke(x, y, x + dx, y + dy, "leader", 0.12, {"opacity": 0.6})
            self._stroke(
                x + dx - tick[0], y + dy - tick[1], x + dx + tick[0], y + dy + tick[1],
                "tick", 0.35, {},
            )  # fmt: skip
        x, y = (x1 + x2) / 2 + dx, (y1 + y2) / 2 + dy
        if upright:
            self._words(x - 1.4, y, words, turned=True)
        else:
            self._words(x, y - 1.4, words)
        self.elements.append("</g>")

    def finish(self, name: str, title: str, description: str) -> Drawing:
        """The drawing, with its scale and check line below it."""
        foot = self.margins_mm[3] + self.drawn_mm[1] + self.margins_mm[2]
        left = (WIDEST_MM - CHECK_MM) / 2
        self._stroke(left, foot + 4, left + CHECK_MM, foot + 4, "check-line", 0.5, {})
        for x in (left, left + CHECK_MM):
            self._stroke(x, foot + 2, x, foot + 6, "check-end", 0.5, {})
        self._words(
            WIDEST_MM / 2,
            foot + 10,
            f"Scale 1 : {self.scale} where this line measures 100 mm on your print; "
            "if it does not, trust the written metres.",
        )
        whole = foot + 13
        body = "\n".join(self.elements)
        return Drawing(
            name,
            title,
            description,
            f'<svg xmlns="http://www.w3.org/2000/svg" class="drawing to-scale" role="img" '
            f"aria-label={quoteattr(title)} "
            f'width="{WIDEST_MM:g}mm" height="{whole:.2f}mm" viewBox="0 0 {WIDEST_MM:g} '
            f'{whole:.2f}" color="{INK}" font-family="system-ui, sans-serif" '
            f'data-scale="{self.scale}">\n<title>{escape(title)}</title>\n'
            f"<desc>{escape(description)}</desc>\n"
            f'<rect class="paper" width="100%" height="100%" fill="{PAPER}"/>\n{body}\n</svg>\n',
        )


def _attributes(style: dict[str, object]) -> str:
    """Drawing attributes; an underscore in a name stands for its hyphen."""
    return "".join(
        f" {name.replace('_', '-')}={quoteattr(str(value))}" for name, value in style.items()
    )
