"""Numbers and budgets as pages show them: rounding and words only."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from rushlight.bench.desk.frame import element, words_html
from rushlight.bench.texts import direction, text
from rushlight.jobs.told import Told

_STAYS = "\u00a0"
"""A space between a number and its unit, which no line ends at."""


def _set(shown: str) -> str:
    """A number with its unit as it is read everywhere: unit last, also within words from right to
    left (Unicode Standard Annex 9: isolates)."""
    return f"\u2066{shown}\u2069" if direction() == "rtl" else shown


def number(value: float | None, unit: str = "", digits: int = 3) -> str:
    """A number with its unit, to so many digits that count."""
    if value is None or value != value:
        return text("plan.unknown")
    shown = f"{value:.{digits}g}"
    if "e" in shown:
        shown = f"{value:.0f}"
    return _set(f"{shown}{_STAYS}{unit}" if unit else shown)


def signed(value: float) -> str:
    """A number with its sign, whose minus is one."""
    return f"{value:+}".replace("-", "−")


def moment(kept: Told) -> str:
    """When something was told, by this computer's clock."""
    return datetime.fromisoformat(kept.made_at).astimezone().strftime("%Y-%m-%d %H:%M")


def about(seconds: float) -> str:
    """How long something takes, roughly: seconds below a minute and a half, else minutes."""
    if seconds < 90:
        return f"{max(round(seconds, -1), 10):.0f}{_STAYS}s"
    return f"{seconds / 60:.0f}{_STAYS}min"


def percent(share: float | None) -> str:
    """A share as per cent."""
    if share is None:
        return text("plan.unknown")
    shown = "< 1" if 0 < share < 0.005 else f"{100 * share:.0f}"
    return _set(f"{shown}{_STAYS}%")


def budget_html(parts: Mapping[str, float], unit: str) -> str:
    """A budget as bars, as long as the parts are great; give the greatest first."""
    longest = max(parts.values(), default=0.0)
    rows = ['<ul class="budget">']
    for name, value in parts.items():
        share = value / longest if longest > 0 else 0.0
        rows.append(
            f"<li><span>{words_html(name)}</span><span>{number(value, unit)}</span>"
            f'<span class="bar" aria-hidden="true"><i style="width:{100 * share:.1f}%"></i></span>'
            "</li>"
        )
    return "".join([*rows, "</ul>"])


def basis_mark(basis: str) -> None:
    """What a number rests on, as a word in a frame of its own shape."""
    element("span", text(f"basis.{basis}"), f"basis basis-{basis}")
