"""Quantities as people type them: ``"4 ms"``, ``"6 ft 2 in"``, ``"2.4 m"``.

A strict grammar, ``number unit [number unit]``, with a decimal point and no thousands marks,
stands before the units library, which alone would silently misread a typographic minus,
``"1,5 mm"``, ``"1 000 mm"``, ``"60 fps"`` and ``"6 ft 2 in"``. Only the unit words listed here
reach it.
"""

from __future__ import annotations

import functools
import math
import re
import unicodedata
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, GetPydanticSchema
from pydantic_core import PydanticCustomError, core_schema

Dimension = Literal[
    "length",
    "time",
    "frequency",
    "angle",
    "current",
    "voltage",
    "resistance",
    "charge",
    "power",
    "irradiance",
    "radiant intensity",
    "luminous flux",
    "speed",
    "mass",
    "share",
    "electrons",
    "pixels",
    "temperature",
    "temperature difference",
    "thermal resistance",
    "throughput",
]

# Unit word -> the units library's own expression, by dimension. The first word of each
# dimension is the one suggested in messages.
UNITS: dict[Dimension, dict[str, str]] = {
    "length": {
        "m": "m", "mm": "mm", "cm": "cm", "µm": "um", "μm": "um", "um": "um", "nm": "nm",
        "in": "inch", "ft": "foot", "km": "km",
    },
    "time": {
        "ms": "ms", "s": "s", "µs": "us", "μs": "us", "us": "us", "ns": "ns", "min": "minute",
        "h": "hour",
    },
    "frequency": {"Hz": "1/s", "kHz": "1000/s", "MHz": "1e6/s", "fps": "1/s", "frames/s": "1/s"},
    "angle": {"deg": "degree", "°": "degree", "rad": "radian", "mrad": "mrad"},
    "current": {"mA": "mA", "A": "A", "µA": "uA", "μA": "uA", "uA": "uA"},
    "voltage": {"V": "V", "mV": "mV"},
    "resistance": {"ohm": "ohm", "Ω": "ohm", "kohm": "kohm", "kΩ": "kohm"},
    "charge": {"Ah": "A*hour", "mAh": "mA*hour"},
    "power": {"W": "W", "mW": "mW"},
    "irradiance": {"W/m2": "W/m**2", "W/m²": "W/m**2", "mW/m2": "mW/m**2", "mW/m²": "mW/m**2"},
    "radiant intensity": {"mW/sr": "mW", "W/sr": "W"},
    "luminous flux": {"lm": "lumen"},
    "speed": {"m/s": "m/s", "mm/s": "mm/s", "cm/s": "cm/s"},
    "mass": {"g": "g", "kg": "kg"},
    "share": {"%": "percent"},
    "electrons": {"e-": "", "e": "", "ke-": "1000", "e−": ""},
    "pixels": {"px": ""},
    "temperature": {"°C": "K", "degC": "K", "C": "K"},
    "temperature difference": {"K": "K"},
    "thermal resistance": {"K/W": "K/W"},
    "throughput": {"bit/s": "1/s"},
}  # fmt: skip
_SI: dict[Dimension, str] = {
    "length": "m", "time": "s", "frequency": "1/s", "angle": "radian", "current": "A",
    "voltage": "V", "resistance": "ohm", "charge": "A*s", "power": "W", "irradiance": "W/m**2",
    "radiant intensity": "W", "luminous flux": "lumen", "speed": "m/s", "mass": "kg",
    "share": "", "electrons": "", "pixels": "", "temperature": "K", "temperature difference": "K",
    "thermal resistance": "K/W",
    "throughput": "1/s",
}  # fmt: skip
SI_WORD: dict[Dimension, str] = {
    **{d: u or "1" for d, u in _SI.items()},
    "frequency": "Hz", "angle": "rad", "charge": "A s", "irradiance": "W/m²",
    "radiant intensity": "W/sr", "luminous flux": "lm", "electrons": "e-", "pixels": "px",
    "throughput": "bit/s",
}  # fmt: skip

ZERO_CELSIUS_K = 273.15
"""0 °C on the absolute scale (SI, exact)."""

_TYPED_ALIASES = str.maketrans(
    {"−": "-", "\u2126": "Ω", "\u00a0": " ", "\u202f": " ", "\u2009": " "}
)
_PART = re.compile(
    r"\s*([+-]?(?:\d+(?:\.\d+)?|\.\d+)(?:[eE][+-]?\d+)?)\s*([^\s\d.,+-]\S*)", re.ASCII
)
_NUMBER_ONLY = re.compile(r"\s*[+-]?(\d+(\.\d+)?|\.\d+)([eE][+-]?\d+)?\s*$", re.ASCII)


class QuantityError(ValueError):
    """A text that the grammar does not admit, with what is allowed and what to write."""

    def __init__(self, allowed: str, remedy: str) -> None:
        super().__init__(f"{allowed}; {remedy}")
        self.allowed = allowed
        self.remedy = remedy


@functools.cache
def _factor(unit: str, dimension: Dimension) -> float:
    """SI value of one unit, by the units library."""
    import pint  # slow to import: only where a quantity is really parsed

    registry = _registry(pint)
    expression = UNITS[dimension][unit] or "1"
    if dimension == "share":
        return 0.01
    quantity = registry.parse_expression(expression)
    if not hasattr(quantity, "to"):
        return float(quantity)
    return float(quantity.to(_SI[dimension] or "dimensionless").magnitude)


@functools.cache
def _registry(pint: Any) -> Any:
    return pint.UnitRegistry(cache_folder=None)


def _dimension_of(unit: str) -> Dimension | None:
    return next((d for d, words in UNITS.items() if unit in words), None)


def unit_words(dimension: Dimension) -> list[str]:
    """The unit words of a dimension, of look-alike letters (µ, μ) only the first."""
    alike = {unicodedata.normalize("NFKC", word): word for word in reversed(UNITS[dimension])}
    return [word for word in UNITS[dimension] if word in alike.values()]


class Quantity(BaseModel):
    """A physical quantity: the text as typed, its SI value, and its dimension."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    text: str
    value: float
    dimension: Dimension

    def __str__(self) -> str:
        return self.text


def parse_quantity(text: object, dimension: Dimension, unit: str = "") -> Quantity:
    """The quantity that a text means.

    Parameters
    ----------
    text
        What the user typed.
    dimension
        What is wanted.
    unit
        Of the example in an error; the dimension's first when empty.

    Returns
    -------
    Quantity
        With its value in SI.

    Raises
    ------
    QuantityError
        When the text is no quantity of that dimension, saying what to write.

    Examples
    --------
    >>> round(parse_quantity("6 ft 2 in", "length").value, 6)
    1.8796
    >>> round(parse_quantity("−3 deg", "angle").value, 6)
    -0.05236
    """
    example = f'"{_example_number(text)} {unit or next(iter(UNITS[dimension]))}"'
    if isinstance(text, Quantity):
        if text.dimension != dimension:
            raise QuantityError(
                f"is {_a(text.dimension)} where {_a(dimension)} is needed", f"write {example}"
            )
        return text
    if isinstance(text, bool) or not isinstance(text, str | int | float):
        raise QuantityError(
            f"is not a quantity; {_a(dimension)} is needed", f"write a text such as {example}"
        )
    if not isinstance(text, str) or _NUMBER_ONLY.match(text.translate(_TYPED_ALIASES)):
        raise QuantityError(
            f"is a bare number where {_a(dimension)} with its unit is needed", f"write {example}"
        )
    typed = text.translate(_TYPED_ALIASES).strip()
    if re.search(r"\d,\d", typed):
        pointed = typed.replace(",", ".", 1) if typed.count(",") == 1 else example.strip('"')
        raise QuantityError(
            "uses a comma", f'use a decimal point and no thousands marks, such as "{pointed}"'
        )
    if re.search(r"\d\s+\d", typed):
        joined = re.sub(r"(?<=\d)\s+(?=\d)", "", typed)
        raise QuantityError("puts a space inside a number", f'write it as one, such as "{joined}"')
    parts: list[tuple[float, str]] = []
    position = 0
    while position < len(typed):
        match = _PART.match(typed, position)
        if match is None or len(parts) == 2:
            raise QuantityError(
                f"cannot be read as {_a(dimension)}",
                f"write a number and a unit, such as {example}",
            )
        parts.append((float(match[1]), match[2]))
        position = match.end()
    if not parts:
        raise QuantityError("is empty", f"write a number and a unit, such as {example}")
    value = 0.0
    for number, unit in parts:
        if unit not in UNITS[dimension]:
            known = _dimension_of(unit)
            problem = (
                f"is {_a(known)} where {_a(dimension)} is needed"
                if known
                else f'has the unknown unit "{unit}"'
            )
            raise QuantityError(problem, f"use one of {', '.join(unit_words(dimension))}")
        value += number * _factor(unit, dimension)
    if dimension == "temperature":
        value += ZERO_CELSIUS_K
    if len(parts) == 2:
        (first, unit_a), (second, unit_b) = parts
        if (
            second < 0
            or typed.startswith("-")
            or first != int(first)
            or not _factor(unit_b, dimension) * second < _factor(unit_a, dimension)
        ):
            raise QuantityError(
                "joins two parts that do not make one quantity",
                'join a whole number of the larger unit and less than one of it, as "6 ft 2 in"',
            )
    if not math.isfinite(value):
        raise QuantityError("is not finite", f"write {example}")
    return Quantity(text=text, value=value, dimension=dimension)


def _a(dimension: str) -> str:
    if dimension in ("electrons", "pixels"):
        return f"a number of {dimension}"
    return f"{'an' if dimension[0] in 'aei' else 'a'} {dimension}"


def _example_number(text: object) -> str:
    match = re.match(r"\s*[+-]?(\d+(?:[.,]\d+)?)(?!\s*\d)", str(text))
    return match[1].replace(",", ".") if match else "1"


def quantity_type(
    dimension: Dimension, *, least: float = -math.inf, above: float = -math.inf
) -> Any:
    """A pydantic field type for quantities of one dimension, written as the user's own text.

    Parameters
    ----------
    dimension
        What the field holds.
    least, above
        Bounds on the SI value; the value may equal `least` but must exceed `above`.
    """
    word = next(iter(UNITS[dimension]))

    def check(text: object) -> Quantity:
        try:
            quantity = parse_quantity(text, dimension)
        except QuantityError as error:
            raise PydanticCustomError(
                "quantity",
                "{allowed}|{remedy}",
                {"allowed": error.allowed, "remedy": error.remedy},
            ) from None
        if quantity.value < least or quantity.value <= above:
            bound = f"{least:g}" if quantity.value < least else f"{above:g}"
            relation = "at least" if quantity.value < least else "more than"
            raise PydanticCustomError(
                "quantity",
                "{allowed}|{remedy}",
                {
                    "allowed": f"is {'below' if relation == 'at least' else 'not above'} {bound}",
                    "remedy": f"give {relation} {bound} {word}",
                },
            )
        return quantity

    schema = core_schema.no_info_plain_validator_function(
        check,
        serialization=core_schema.plain_serializer_function_ser_schema(
            lambda quantity: quantity.text if isinstance(quantity, Quantity) else quantity
        ),
    )

    def json_schema(_schema: Any, _handler: Any) -> dict[str, Any]:
        return {
            "type": "string",
            "description": f"{_a(dimension)} with its unit: {', '.join(unit_words(dimension))}",
            "examples": [f"1 {word}"],
        }

    class Marker:
        @classmethod
        def __get_pydantic_json_schema__(cls, schema: Any, handler: Any) -> dict[str, Any]:
            return json_schema(schema, handler)

    return Annotated[Quantity, GetPydanticSchema(lambda _s, _h: schema), Marker]


Length = quantity_type("length")
PositiveLength = quantity_type("length", above=0.0)
LengthFromZero = quantity_type("length", least=0.0)
Time = quantity_type("time", above=0.0)
TimeFromZero = quantity_type("time", least=0.0)
Frequency = quantity_type("frequency", above=0.0)
Angle = quantity_type("angle")
AngleFromZero = quantity_type("angle", least=0.0)
Current = quantity_type("current", above=0.0)
CurrentFromZero = quantity_type("current", least=0.0)
Voltage = quantity_type("voltage", above=0.0)
Irradiance = quantity_type("irradiance", least=0.0)
RadiantIntensity = quantity_type("radiant intensity", least=0.0)
LuminousFlux = quantity_type("luminous flux", above=0.0)
Power = quantity_type("power", above=0.0)
Speed = quantity_type("speed", least=0.0)
Share = quantity_type("share", least=0.0)
Mass = quantity_type("mass", above=0.0)
Temperature = quantity_type("temperature", above=0.0)
