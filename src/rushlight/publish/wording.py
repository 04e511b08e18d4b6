"""Numbers as they stand on a page: with unit, doubt and basis, and never more digits than known."""

from __future__ import annotations

import math
from dataclasses import dataclass

from rushlight.records.document import Basis
from rushlight.records.figure import Figure

NOT_KNOWN = "not known"
NARROW_SPACE, NO_BREAK = "\u202f", "\u00a0"
_UNIT_SIGNS = {"ohm": "Ω", "deg": "°", "e-": "electrons", "bit/s": "bit/s", "1": ""}
_CURRENCY_LETTERS = 3


def significant(value: float | None, digits: int = 3) -> str:
    """A number to so many significant digits, without an exponent; "not known" for none.

    Examples
    --------
    >>> significant(59.388), significant(0.0004567, 2), significant(52467.7), significant(None)
    ('59.4', '0.00046', '52\u202f500', 'not known')
    """
    if value is None or not math.isfinite(value):
        return NOT_KNOWN
    if value == 0.0:
        return "0"
    decimals = digits - 1 - math.floor(math.log10(abs(value)))
    return _grouped(round(value, decimals), max(decimals, 0))


def _grouped(value: float, decimals: int) -> str:
    text = f"{value:,.{decimals}f}"
    if "." in text and decimals > 0:
        text = text.rstrip("0").rstrip(".")
    return text.replace(",", NARROW_SPACE).replace("-", "−")


def metres(value_m: float) -> str:
    r"""A length on a drawing, to the centimetre.

    Examples
    --------
    >>> metres(2.4)
    '2.40\xa0m'
    """
    return f"{value_m:.2f}{NO_BREAK}m".replace("-", "−")


def camera_words(camera: str) -> str:
    """A camera by its id, without saying "camera" twice.

    Examples
    --------
    >>> camera_words("beam"), camera_words("camera")
    ('camera beam', 'camera')
    """
    return camera if camera.startswith("camera") else f"camera {camera}"


def with_unit(number: str, unit: str) -> str:
    r"""A number and its unit's sign.

    Examples
    --------
    >>> with_unit("75", "ohm"), with_unit("not known", "mm"), with_unit("17", "deg")
    ('75\xa0Ω', 'not known', '17°')
    """
    if number == NOT_KNOWN:
        return number
    sign = _UNIT_SIGNS.get(unit, unit)
    return f"{number}{'' if sign == '°' else NO_BREAK}{sign}".rstrip(NO_BREAK)


def money(amount: float | None, currency: str) -> str:
    """A sum of money with its currency."""
    return NOT_KNOWN if amount is None else f"{amount:.2f}{NO_BREAK}{currency}"


@dataclass(frozen=True)
class Statement:
    """One number as it is shown.

    Attributes
    ----------
    text
        Value and unit, or "not known".
    doubt
        Interval with its level, or that none was computed; empty where the value is not known.
    basis
        What it rests on.
    """

    text: str
    doubt: str
    basis: Basis


def stated(figure: Figure) -> Statement:
    """A figure as it is shown, its value no finer than its interval warrants."""
    if figure.value is None:
        return Statement(NOT_KNOWN, "", figure.basis)
    if len(figure.unit) == _CURRENCY_LETTERS and figure.unit.isupper():
        return Statement(money(figure.value, figure.unit), "", figure.basis)
    if figure.low is None or figure.high is None or figure.high <= figure.low:
        return Statement(
            with_unit(significant(figure.value), figure.unit),
            "no interval computed",
            figure.basis,
        )
    decimals = _decimals((figure.high - figure.low) / 2.0)
    value, low, high = (f"{v:.{decimals}f}" for v in (figure.value, figure.low, figure.high))
    level = f", {100.0 * figure.level:.0f}{NO_BREAK}% interval" if figure.level else ""
    return Statement(
        with_unit(value, figure.unit),
        f"{low} to {with_unit(high, figure.unit)}{level}".replace("-", "−"),
        figure.basis,
    )


def _decimals(doubt: float) -> int:
    """Decimals that a doubt warrants: its first digit, or two where that is 1 or 2."""
    power = math.floor(math.log10(doubt))
    return max(0, -power + (1 if doubt < 3.0 * 10.0**power else 0))
