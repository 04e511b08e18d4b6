"""A chessboard to print, at true scale, as PDF or SVG: the board, check lines, and what to mind.

One list of shapes in millimetres of paper, origin top-left, is written by two small writers.
PDF 32000-1:2008 names the operators and the standard fonts (from memory); WinAnsi holds every
character used here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal
from xml.sax.saxutils import escape

Paper = Literal["a4", "letter"]

PAPERS_MM: dict[Paper, tuple[float, float]] = {"a4": (297.0, 210.0), "letter": (279.4, 215.9)}
"""Width and height, lying on their long side [mm]: ISO 216 A4; ANSI/ASME Y14.1 A (both from
memory)."""
COLUMNS, ROWS = 9, 6
"""Inner corners: one odd and one even, so that the board differs from itself upside down."""
SQUARE_MM = 22.0
CHECK_MM = 100.0
"""Length of each of the two check lines [mm]."""
_MARGIN_MM, _TEXT_MM, _LINE_MM = 14.0, 2.6, 3.5
_POINTS_A_MM = 72.0 / 25.4
_WIDE_EM = 0.5
"""Mean width of a letter in the standard sans-serif, in parts of its size (from memory)."""

TEXT = (
    "Print at 100 %, not fitted to the page. Then measure both check lines with a ruler, from "
    "middle to middle of their end strokes: each should be 100 mm long. Give what you read as "
    "--check-line (along the long side) and --check-line-up. Equal scaling does not harm the "
    "lens, only distances; unequal scaling of the two sides does harm it.",
    "Many inks vanish in the infrared: look at the print through your camera first. If the squares "
    "are pale there, print with a laser printer or copier, whose toner holds carbon (common "
    "practice, no source), or paint them.",
    "Fix the print to something flat and stiff: glass, a drawing board, a thick panel. A bent "
    "sheet spoils the lens.",
    "Move the board, not the camera. Where the camera hangs high, take it down to calibrate it, or "
    "hold the board from the floor; for a ladder, one sound and held by a second person, never a "
    "chair. Keep eyes away from bright infrared lamps near the camera: they look dark and are not.",
)


@dataclass(frozen=True)
class Box:
    """A filled rectangle [mm]."""

    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True)
class Words:
    """A line of text; x and y of the left end of its base line [mm]."""

    x: float
    y: float
    text: str
    size: float = _TEXT_MM
    bold: bool = False


Shape = Box | Words


def target_shapes(paper: Paper) -> list[Shape]:
    """Everything on the sheet: board, check lines, words [mm, origin top-left]."""
    wide, high = PAPERS_MM[paper]
    across, down = COLUMNS + 1, ROWS + 1
    left, top = (wide - across * SQUARE_MM) / 2, _MARGIN_MM
    shapes: list[Shape] = [
        Box(left + column * SQUARE_MM, top + row * SQUARE_MM, SQUARE_MM, SQUARE_MM)
        for row in range(down)
        for column in range(across)
        if (row + column) % 2 == 0
    ]
    below = top + down * SQUARE_MM
    shapes += _check_lines(left, top)
    line = below + 8.0
    shapes.append(
        Words(
            left,
            line,
            f"Lens target: {COLUMNS} × {ROWS} inner corners, squares of {SQUARE_MM:g} mm; "
            f"check lines of {CHECK_MM:g} mm",
            3.8,
            bold=True,
        )
    )
    for paragraph in TEXT:
        for text in wrapped(f"• {paragraph}", across * SQUARE_MM, _TEXT_MM):
            line += _LINE_MM
            shapes.append(Words(left, line, text))
    if line > high - 4.0:
        raise ValueError(f"the words end at {line:.0f} mm, below the {high:g} mm high sheet")
    return shapes


def _check_lines(left: float, top: float) -> list[Shape]:
    """One above the board along its long side, one left of it along its short side."""
    thin, stroke = 0.3, 4.0
    y, x = top - 5.0, left - 7.0
    end_x, end_y = left + CHECK_MM, top + CHECK_MM
    return [
        Box(left, y - thin / 2, CHECK_MM, thin),
        *(Box(at - thin / 2, y - stroke / 2, thin, stroke) for at in (left, end_x)),
        Box(x - thin / 2, top, thin, CHECK_MM),
        *(Box(x - stroke / 2, at - thin / 2, stroke, thin) for at in (top, end_y)),
        Words(end_x + 3.0, y + 1.0, f"check line, {CHECK_MM:g} mm"),
        Words(max(x - 8.0, 3.0), end_y + 5.0, f"{CHECK_MM:g} mm"),
    ]


def wrapped(text: str, width_mm: float, size_mm: float) -> list[str]:
    """Text broken into lines of a width, by the mean width of its letters."""
    most = int(width_mm / (_WIDE_EM * size_mm))
    lines: list[str] = [""]
    for word in text.split():
        longer = f"{lines[-1]} {word}".strip()
        if len(longer) <= most:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def target_svg(paper: Paper) -> str:
    """The target as SVG whose size is told in millimetres."""
    wide, high = PAPERS_MM[paper]
    body = "\n".join(_svg_of(shape) for shape in target_shapes(paper))
    title = f"Lens target, {COLUMNS} × {ROWS} inner corners"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide:g}mm" height="{high:g}mm" '
        f'viewBox="0 0 {wide:g} {high:g}" role="img">\n<title>{escape(title)}</title>\n'
        f'<rect width="{wide:g}" height="{high:g}" fill="#FFFFFF"/>\n{body}\n</svg>\n'
    )


def _svg_of(shape: Shape) -> str:
    if isinstance(shape, Box):
        return (
            f'<rect x="{shape.x:.3f}" y="{shape.y:.3f}" width="{shape.width:.3f}" '
            f'height="{shape.height:.3f}" fill="#000000"/>'
        )
    weight = ' font-weight="bold"' if shape.bold else ""
    return (
        f'<text x="{shape.x:.3f}" y="{shape.y:.3f}" font-family="Helvetica, Arial, sans-serif" '
        f'font-size="{shape.size:g}"{weight}>{escape(shape.text)}</text>'
    )


def target_pdf(paper: Paper) -> bytes:
    """The target as a PDF of one page, at true scale, with the standard fonts."""
    wide, high = (side * _POINTS_A_MM for side in PAPERS_MM[paper])
    page = "\n".join(_pdf_of(shape, PAPERS_MM[paper][1]) for shape in target_shapes(paper))
    content = page.encode("cp1252")
    font = "<< /Type /Font /Subtype /Type1 /BaseFont /{} /Encoding /WinAnsiEncoding >>"
    return _pdf_file(
        [
            # The viewer is asked not to scale.
            b"<< /Type /Catalog /Pages 2 0 R /Lang (en) "
            b"/ViewerPreferences << /PrintScaling /None >> >>",
            b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
            f"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 {wide:.4f} {high:.4f}] /Contents 4 0 R "
            "/Resources << /Font << /F1 5 0 R /F2 6 0 R >> >> >>".encode(),
            b"<< /Length %d >>\nstream\n%s\nendstream" % (len(content), content),
            font.format("Helvetica").encode(),
            font.format("Helvetica-Bold").encode(),
        ]
    )


def _pdf_of(shape: Shape, high_mm: float) -> str:
    if isinstance(shape, Box):
        sides = (shape.x, high_mm - shape.y - shape.height, shape.width, shape.height)
        return " ".join(f"{side * _POINTS_A_MM:.4f}" for side in sides) + " re f"
    text = shape.text.replace("\\", r"\\").replace("(", r"\(").replace(")", r"\)")
    x, y = (side * _POINTS_A_MM for side in (shape.x, high_mm - shape.y))
    name = "F2" if shape.bold else "F1"
    return f"BT /{name} {shape.size * _POINTS_A_MM:.3f} Tf {x:.3f} {y:.3f} Td ({text}) Tj ET"


def _pdf_file(objects: Sequence[bytes]) -> bytes:
    """A PDF file of numbered objects, the first its catalogue."""
    file = bytearray(b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n")
    places = []
    for number, each in enumerate(objects, 1):
        places.append(len(file))
        file += b"%d 0 obj\n%s\nendobj\n" % (number, each)
    start = len(file)
    file += b"xref\n0 %d\n0000000000 65535 f \n" % (len(objects) + 1)
    file += b"".join(b"%010d 00000 n \n" % place for place in places)
    file += b"trailer\n<< /Size %d /Root 1 0 R >>\nstartxref\n%d\n%%%%EOF\n" % (
        len(objects) + 1,
        start,
    )
    return bytes(file)
