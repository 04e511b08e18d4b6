"""The catalogues: what pages ask for is there, and what is there is asked for.

Keys that are put together count as there, and as used, by their pattern: each place in braces
stands for one step between dots, which may have an axis. That no page has words of its own beside
them is not tested.
"""

import ast
import json
import re
from pathlib import Path

import pytest

import rushlight.bench
from rushlight.bench.desk.frame import words_html
from rushlight.bench.texts import PSEUDO_LOCALE, catalogue, direction, text

BENCH = Path(rushlight.bench.__file__).parent
STEP = r"[^.]+(?:\.[xyz])?"
JS_WORDS = re.compile(r"""(["'`])((?:(?!\1)[^\\\n])*)\1""")
JS_ASKED = re.compile(r"""\b(text|counted)\(\s*(?:[\w.]+ \? )?(["`])([^"`]+)\2(?: : "([^"]+)")?""")
MARKED = re.compile(r'data-(?:text|label)="([^"]+)"')


def pattern(node, stems=()):
    """Of the keys that an f-string gives; the strings with dots of its file may stand in it.

    Where it begins with a value, one of those must.
    """
    dotted = [re.escape(each) for each in sorted(stems) if re.fullmatch(r"\w+(\.\w+)+", each)]
    step = f"(?:{'|'.join([STEP, *dotted])})"
    parts = [
        re.escape(each.value) if isinstance(each, ast.Constant) else step for each in node.values
    ]
    if not isinstance(node.values[0], ast.Constant):
        parts[0] = f"(?:{'|'.join(dotted)})" if dotted else "(?!)"
    return "".join(parts)


def keys_of_python(words):
    """Patterns of what a file asks for, and of all its strings that may come to be keys."""
    tree = ast.parse(words)
    nodes = list(ast.walk(tree))
    whole = {each.value for each in nodes if isinstance(each, ast.Constant)}
    stems = {each for each in whole if isinstance(each, str) and re.fullmatch(r"[\w.]+", each)}
    joined = [each for each in nodes if isinstance(each, ast.JoinedStr)]
    # A lone value says nothing of a key.
    joined = [each for each in joined if any(isinstance(v, ast.Constant) for v in each.values)]
    calls = [
        each
        for each in nodes
        if isinstance(each, ast.Call) and isinstance(each.func, ast.Name) and each.args
    ]
    whole_keys = {each.args[0].value for each in calls if isinstance(each.args[0], ast.Constant)}
    used = {re.escape(each) for each in stems}
    stems -= whole_keys  # what is asked for as it stands is no beginning of another
    used |= {pattern(each, stems) for each in joined}
    asked, plurals = set(), set()
    for call in calls:
        key = call.args[0]
        either = [key.body, key.orelse] if isinstance(key, ast.IfExp) else [key]
        for each in either:
            if isinstance(each, ast.Constant) and call.func.id == "forms":
                plurals.add(rf"{re.escape(each.value)}\.{STEP}")
            elif call.func.id == "text" and isinstance(each, ast.Constant):
                asked.add(re.escape(each.value))
            elif call.func.id == "text" and isinstance(each, ast.JoinedStr):
                asked.add(pattern(each, stems))
    return asked | plurals, used | plurals


def keys_of_browser(words):
    """The same of a module or a page."""

    def of(key):
        return STEP.join(map(re.escape, re.split(r"\$\{[^}]*\}", key)))

    asked = {re.escape(each) for each in MARKED.findall(words)}
    for name, _, key, other in JS_ASKED.findall(words):
        asked.add(of(key) + (rf"\.{STEP}" if name == "counted" else ""))
        if other:
            asked.add(of(other))
    return asked, asked | {of(each) for _, each in JS_WORDS.findall(words) if each[:1] != "$"}


def keys_by_file():
    """Of each file of the bench: what it asks for, and what it may use."""
    readers = {".py": keys_of_python, ".js": keys_of_browser, ".html": keys_of_browser}
    return {
        file.name: readers[file.suffix](file.read_text(encoding="utf-8"))
        for file in sorted(BENCH.rglob("*"))
        if file.suffix in readers
    }


def test_every_text_that_pages_use_is_there():
    known, count = catalogue("en"), 0
    for name, (asked, _) in keys_by_file().items():
        for each in asked:
            count += 1
            assert any(re.fullmatch(each, key) for key in known), f"{name}: {each}"
    assert count > 500


def test_every_text_that_is_there_is_used():
    used = re.compile("|".join({each for _, used in keys_by_file().values() for each in used}))
    assert [key for key in catalogue("en") if not used.fullmatch(key)] == []


def test_an_unused_key_and_one_that_is_missing_would_be_found():
    asked, used = keys_of_python(
        'text("a.b"); text(f"c.{kind}.mark"); how = "d.e" if good else "d.f"; text(f"{how}.{g}")'
        '; forms("n.dots"); text("t.u" if good else "t.v")'
    )
    for key in ("a.b", "c.x.mark", "n.dots.one", "d.e.x", "d.f.x", "t.u", "t.v"):
        assert any(re.fullmatch(each, key) for each in asked), key
        assert any(re.fullmatch(each, key) for each in used), key
    for key in ("a", "a.b.c", "c.mark", "c.x.v.mark", "c.x", "n.dots", "h.x"):
        assert not any(re.fullmatch(each, key) for each in asked), key
    asked, _ = keys_of_browser(
        """text(`a.b_${kind}`); counted("c.d", 3); text(good ? "e.f" : "e.g");"""
        """<p data-label="h.i">"""
    )
    for key in ("a.b_x", "c.d.one", "e.f", "e.g", "h.i"):
        assert any(re.fullmatch(each, key) for each in asked), key
    assert not any(re.fullmatch(each, "a.c_x") for each in asked)


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


@pytest.mark.parametrize(
    ("said", "kept"),
    [("19 % of the places", 1), ("use 4 ms, 1.5 m or 44 W/m²", 3), ("54.20 EUR", 1),
     ("2 of 5, in 3 months", 0), ("Step 2 in rig.toml", 0)],
)  # fmt: skip
def test_a_number_and_its_unit_stay_on_one_line(said, kept):
    shown = words_html(said)
    assert shown.count("\u00a0") == kept and shown.replace("\u00a0", " ") == said
