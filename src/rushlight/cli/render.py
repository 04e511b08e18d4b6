"""How the command line shows things: tables, findings, progress. The look, and nothing else."""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any, Literal

from rich import box
from rich.cells import cell_len
from rich.console import Console
from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeElapsedColumn
from rich.table import Table

from rushlight.errors import Finding

EMBER = "#B34A12"
LONGEST_NAME = 20
"""Letters of a row's name that stay on one line."""
_MARKS = {"error": "✗ error", "warning": "! warning", "note": "· note"}


def console() -> Console:
    """The console that writes to standard output as it is now."""
    return Console(highlight=False, emoji=False, markup=False, soft_wrap=False)


def heading(text: str) -> None:
    """A line that opens a section."""
    out = console()
    out.print()
    out.print(text, style=f"bold {EMBER}" if out.is_terminal else None)


def note(text: str) -> None:
    """A paragraph of plain text."""
    console().print(text)


def copied(text: str) -> None:
    """Lines that stay whole however narrow the window is, so that they can be copied."""
    console().print(text, soft_wrap=True)


def table(title: str, columns: Sequence[str], rows: Sequence[Sequence[object]]) -> None:
    """A table; columns whose name ends in "]" hold numbers and are set to the right.

    Parameters
    ----------
    title
        Above the table, or empty.
    columns
        Names with their unit in brackets, as ``"error [mm]"``; counts have the unit ``[1]``,
        which is not shown.
    rows
        Cells; None shows as "–".
    """
    grid = Table(
        title=title or None,
        title_justify="left",
        box=box.SIMPLE,
        header_style="bold",
        pad_edge=False,
    )
    cells = [["–" if cell is None else str(cell) for cell in row] for row in rows]
    out = console()
    numbers = [name.endswith("]") for name in columns]
    heads = [name.removesuffix(" [1]") for name in columns]
    widths = _widths(heads, cells, numbers, out.width)
    for head, number, width in zip(heads, numbers, widths, strict=True):
        justify: Literal["right", "left"] = "right" if number else "left"
        grid.add_column(head, justify=justify, width=width, overflow="fold")
    for row in cells:
        grid.add_row(*(_folded(cell, width) for cell, width in zip(row, widths, strict=True)))
    out.print(grid)


def _widths(
    heads: Sequence[str], cells: Sequence[Sequence[str]], numbers: Sequence[bool], room: int
) -> list[int]:
    """Letters for each column, so that a table fits: the widest give way first.

    A number is never broken over two lines, nor a short name that stands first, nor a word,
    as long as the room allows; where it does not, words break at their hyphens.
    """
    wanted, kept, hyphened = [], [], []
    for index, head in enumerate(heads):
        column = [row[index] for row in cells]
        widest = max((cell_len(cell) for cell in column), default=1)
        words = [word for text in (head, *column) for word in text.split()]
        least = max((cell_len(word) for word in words), default=1)
        pieces = max((cell_len(piece) for word in words for piece in _pieces(word)), default=1)
        if numbers[index] or (index == 0 and widest <= LONGEST_NAME):
            least = max(least, widest)
            pieces = max(pieces, widest)
        wanted.append(max(widest, cell_len(head), 1))
        kept.append(least)
        hyphened.append(pieces)
    # Between columns stand three letters, at either edge one.
    room -= 3 * len(heads) - 1
    for floor in (kept, hyphened, [1] * len(heads)):
        while sum(wanted) > room:
            wide = [index for index, width in enumerate(wanted) if width > floor[index]]
            if not wide:
                break
            wanted[max(wide, key=wanted.__getitem__)] -= 1
    return wanted


def _pieces(word: str) -> list[str]:
    """A word, parted behind the hyphens within it: "ir850-5mm" is "ir850-", "5mm"."""
    return re.split(r"(?<=\w-)(?=\w)", word)


def _folded(text: str, width: int) -> str:
    """A cell's text with line breaks at the hyphens of words that are wider than their column.

    What wraps the table's cells breaks lines at spaces only, and such words in their midst.
    """
    words = text.split()
    if all(cell_len(word) <= width for word in words):
        return text
    lines = [""]
    for word in words:
        pieces = _pieces(word) if cell_len(word) > width else [word]
        for number, piece in enumerate(pieces):
            joined = lines[-1] + (" " if number == 0 and lines[-1] else "") + piece
            if cell_len(joined) <= width or not lines[-1]:
                lines[-1] = joined
            else:
                lines.append(piece)
    return "\n".join(lines)


def findings(items: Sequence[Finding]) -> None:
    """Findings, one sentence each, the gravest first."""
    order = {"error": 0, "warning": 1, "note": 2}
    out = console()
    for item in sorted(items, key=lambda finding: order[finding.severity]):
        out.print(f"{_MARKS[item.severity]}: {item}")


def print_json(content: Any) -> None:
    """The JSON twin of what would be shown."""
    print(json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False))


def say(what: str, share: float) -> None:
    """What is being done, as a plain line on standard error when it begins."""
    if share == 0.0:
        print(f"{what} …", file=sys.stderr, flush=True)


def aside(text: str) -> None:
    """A line on standard error, for whoever is at work meanwhile."""
    print(text, file=sys.stderr, flush=True)


@contextmanager
def progress() -> Iterator[Callable[[str, float], None]]:
    """A progress line on standard error: call it with what is being done and the share done."""
    bar = Progress(
        TextColumn("{task.description}"),
        BarColumn(bar_width=28, complete_style=EMBER, finished_style=EMBER),
        TaskProgressColumn(),
        TimeElapsedColumn(),
        console=Console(file=sys.stderr, highlight=False),
        transient=False,
    )
    tasks: dict[str, Any] = {}
    if not bar.console.is_terminal:
        shown: set[str] = set()

        def line(what: str, share: float) -> None:
            if what not in shown:
                shown.add(what)
                print(f"{what} …", file=sys.stderr, flush=True)

        yield line
        return
    with bar:

        def advance(what: str, share: float) -> None:
            if what not in tasks:
                tasks[what] = bar.add_task(what, total=1.0)
            bar.update(tasks[what], completed=min(share, 1.0))

        yield advance
