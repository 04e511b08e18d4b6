"""The catalogues: whole, used, and never English in the code of a page."""

import json
import re
from pathlib import Path

import rushlight.bench
from rushlight.bench.texts import PSEUDO_LOCALE, catalogue, direction, text

BENCH = Path(rushlight.bench.__file__).parent
USED = re.compile(r"\b(?:text|has_text)\(\s*\"([^\"]+)\"")


def test_every_text_that_pages_use_is_there():
    known = catalogue("en")
    for file in BENCH.rglob("*.py"):
        for key in USED.findall(file.read_text(encoding="utf-8")):
            assert key in known, f"{file.name}: {key}"


def test_no_key_stands_in_two_files():
    seen = {}
    for file in sorted((BENCH / "catalogues").glob("en*.json")):
        for key in json.loads(file.read_text(encoding="utf-8")):
            assert key not in seen, f"{key} in {file.name} and {seen[key]}"
            seen[key] = file.name


def test_the_pseudo_locale_is_longer_and_keeps_the_places_for_values(monkeypatch):
    for key, words in catalogue(PSEUDO_LOCALE).items():
        assert len(words) > len(catalogue("en")[key])
    monkeypatch.setenv("RUSHLIGHT_LOCALE", PSEUDO_LOCALE)
    assert direction() == "rtl"
    assert "7" in text("search.picked", number=7)


def test_a_unit_stands_after_its_number_whichever_way_words_run(monkeypatch):
    from rushlight.bench.desk.show import number, percent

    assert (number(2.5, "mm"), percent(0.934), percent(0.001)) == (
        "2.5\u00a0mm",
        "93\u00a0%",
        "< 1\u00a0%",
    )
    monkeypatch.setenv("RUSHLIGHT_LOCALE", PSEUDO_LOCALE)
    assert number(2.5, "mm") == "\u20662.5\u00a0mm\u2069"
