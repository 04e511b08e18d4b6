"""The words of the pages, by key: one catalogue a language, the same for Python and browser."""

from __future__ import annotations

import importlib.resources
import json
import os
from functools import cache

LOCALE_VARIABLE = "RUSHLIGHT_LOCALE"
DEFAULT_LOCALE = "en"
PSEUDO_LOCALE = "xx-rtl"
"""Made of the English words, longer and written from right to left: for tests of the layout."""


def locale() -> str:
    """The locale of the pages: of the environment, or English where it has no catalogue."""
    wanted = os.environ.get(LOCALE_VARIABLE, DEFAULT_LOCALE)
    return wanted if wanted in (*locales(), PSEUDO_LOCALE) else DEFAULT_LOCALE


def locales() -> list[str]:
    """Locales with a catalogue."""
    folder = importlib.resources.files("rushlight.bench") / "catalogues"
    names = {each.name.split(".")[0] for each in folder.iterdir() if each.name.endswith(".json")}
    return sorted(names)


def direction() -> str:
    """``"rtl"`` for a locale that is written from right to left, else ``"ltr"``."""
    return "rtl" if locale() in (PSEUDO_LOCALE, "ar", "fa", "he", "ur") else "ltr"


@cache
def catalogue(name: str) -> dict[str, str]:
    """Key to text of a locale; what a catalogue lacks stands there in English."""
    english = _read(DEFAULT_LOCALE)
    if name == PSEUDO_LOCALE:
        return {key: f"[{value} ···]" for key, value in english.items()}
    return english if name == DEFAULT_LOCALE else {**english, **_read(name)}


def text(key: str, **values: object) -> str:
    """A text of the pages.

    Parameters
    ----------
    key
        As in the catalogue, such as ``"start.title"``.
    values
        For the places in braces in the text.

    Raises
    ------
    KeyError
        When no catalogue has the key.
    """
    words = catalogue(locale())[key]
    return words.format(**values) if values else words


def forms(key: str) -> dict[str, str]:
    """The forms of a text for the plurals of the language, by their CLDR names such as ``one``."""
    start = f"{key}."
    words = catalogue(locale())
    return {each.removeprefix(start): words[each] for each in words if each.startswith(start)}


def has_text(key: str) -> bool:
    """Whether there is a text of that key."""
    return key in catalogue(locale())


def _read(name: str) -> dict[str, str]:
    """All files of a locale, ``en.json`` and ``en.PART.json``, joined."""
    folder = importlib.resources.files("rushlight.bench") / "catalogues"
    words: dict[str, str] = {}
    for each in sorted(folder.iterdir(), key=lambda file: file.name):
        if each.name.split(".")[0] == name and each.name.endswith(".json"):
            words |= json.loads(each.read_text(encoding="utf-8"))
    return words
