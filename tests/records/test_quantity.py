"""Quantities as people type them, and the traps that a units library alone falls into."""

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rushlight.records.quantity import (
    UNITS,
    Quantity,
    QuantityError,
    parse_quantity,
    unit_words,
)

plain = st.decimals(-9999, 9999, places=3, allow_nan=False, allow_infinity=False)


def refusal(text: object, dimension: str) -> str:
    with pytest.raises(QuantityError) as caught:
        parse_quantity(text, dimension)  # type: ignore[arg-type]
    return str(caught.value)


@pytest.mark.parametrize(
    ("text", "dimension", "si"),
    [
        ("4 ms", "time", 0.004),
        ("2.4 m", "length", 2.4),
        ("6 ft 2 in", "length", 6 * 0.3048 + 2 * 0.0254),
        ("1 m 20 cm", "length", 1.2),
        ("2 h 30 min", "time", 9000.0),
        ("12mm", "length", 0.012),
        ("−3 deg", "angle", -math.radians(3)),
        ("-3°", "angle", -math.radians(3)),
        ("5\u00a0µm", "length", 5e-6),
        ("5 μm", "length", 5e-6),
        ("850 nm", "length", 850e-9),
        ("60 fps", "frequency", 60.0),
        ("60 Hz", "frequency", 60.0),
        ("20 mA", "current", 0.02),
        ("2600 mAh", "charge", 9360.0),
        ("47 \u2126", "resistance", 47.0),
        ("30 mW/m²", "irradiance", 0.03),
        ("25 mW/sr", "radiant intensity", 0.025),
        ("80 %", "share", 0.8),
        ("12 ke-", "electrons", 12000.0),
        ("1.2 px", "pixels", 1.2),
        ("0.5 m/s", "speed", 0.5),
        ("1.5e-3 m", "length", 0.0015),
        (".5 m", "length", 0.5),
        ("300 K/W", "thermal resistance", 300.0),
    ],
)
def test_means_what_it_says(text: str, dimension: str, si: float) -> None:
    quantity = parse_quantity(text, dimension)  # type: ignore[arg-type]
    assert quantity.value == pytest.approx(si, rel=1e-12)
    assert str(quantity) == text


@pytest.mark.parametrize(
    ("text", "dimension", "sentence"),
    [
        (
            "1,5 mm",
            "length",
            'uses a comma; use a decimal point and no thousands marks, such as "1.5 mm"',
        ),
        ("1 000 mm", "length", 'puts a space inside a number; write it as one, such as "1000 mm"'),
        (
            "1\u202f000 mm",
            "length",
            'puts a space inside a number; write it as one, such as "1000 mm"',
        ),
        (
            "60 fps",
            "time",
            "is a frequency where a time is needed; use one of ms, s, µs, us, ns, min, h",
        ),
        (
            2.4,
            "length",
            'is a bare number where a length with its unit is needed; write "2.4 m"',
        ),
        ("4", "time", 'is a bare number where a time with its unit is needed; write "4 ms"'),
        (True, "length", 'is not a quantity; a length is needed; write a text such as "1 m"'),
        (None, "angle", 'is not a quantity; an angle is needed; write a text such as "1 deg"'),
        ("", "length", 'is empty; write a number and a unit, such as "1 m"'),
        (
            "4 parsec",
            "length",
            'has the unknown unit "parsec"; use one of m, mm, cm, µm, um, nm, in, ft, km',
        ),
        (
            "6 ft 2",
            "length",
            'cannot be read as a length; write a number and a unit, such as "6 m"',
        ),
        (
            "3 ft 20 in",
            "length",
            "joins two parts that do not make one quantity; join a whole number of the larger "
            'unit and less than one of it, as "6 ft 2 in"',
        ),
        ("1e999 m", "length", 'is not finite; write "1 m"'),
    ],
)
def test_refusals_say_what_to_write(text: object, dimension: str, sentence: str) -> None:
    assert refusal(text, dimension) == sentence


@pytest.mark.parametrize(
    "text",
    [
        "nan m", "inf m", "m", "4", "4 m m", "4 m 3", "1.5 ft 2 in", "-6 ft 2 in", "2 in 6 ft",
        "6 ft 2 in 1 mm", "4 m²", "4 m^2", "4*2 m", "4 m + 2 m", "4 m/s", "4..2 m", "4. m",
        "0x10 m", "1_000 m", "1'000 m", "٣ m", "４ m", "½ m", "4 M", "4 Mm", "4 meter",
        "4 mm;", "--4 m", "– 4 m", ["4 m"], {"text": "4 m"}, b"4 m",
    ],
)  # fmt: skip
def test_everything_else_is_refused(text: object) -> None:
    assert "; " in refusal(text, "length")


@given(plain, st.sampled_from(sorted(UNITS["length"])))
def test_value_is_number_times_unit(number: object, unit: str) -> None:
    one = parse_quantity(f"1 {unit}", "length").value
    assert parse_quantity(f"{number} {unit}", "length").value == pytest.approx(
        float(str(number)) * one, rel=1e-12, abs=0.0
    )


@given(plain)
def test_typographic_minus_is_a_minus(number: object) -> None:
    typed = str(number).replace("-", "−")
    assert parse_quantity(f"{typed} mm", "length").value == pytest.approx(
        float(str(number)) / 1000, rel=1e-12
    )


@given(st.text(max_size=12))
def test_any_text_is_read_wholly_or_refused(text: str) -> None:
    try:
        quantity = parse_quantity(text, "length")
    except QuantityError as error:
        assert error.allowed
        assert error.remedy
    else:
        assert math.isfinite(quantity.value)
        assert re.search("|".join(UNITS["length"]), text)


def test_every_unit_word_is_understood() -> None:
    for dimension, words in UNITS.items():
        for word in words:
            assert parse_quantity(f"1 {word}", dimension).value > 0


def test_a_quantity_is_kept_and_its_dimension_checked() -> None:
    length = parse_quantity("2 m", "length")
    assert parse_quantity(length, "length") is length
    assert refusal(length, "time").startswith("is a length where a time is needed")
    assert isinstance(length, Quantity)


def test_look_alike_letters_are_suggested_once() -> None:
    assert unit_words("time") == ["ms", "s", "µs", "us", "ns", "min", "h"]
