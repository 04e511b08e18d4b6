"""The page of a search in a real browser: marks, keys, axes, words; and without scripts."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.drive.conftest import browser as _browser
from tests.search_rooms import BOXES, room

from rushlight.plan import search, searching
from rushlight.plan.search_page import MEASURES, search_page
from rushlight.plan.search_picture import search_picture
from rushlight.plan.searching import begin, search_rig
from rushlight.records.search import SearchResult
from rushlight.shelf.catalogue import built_in_shelf

browser = _browser


@pytest.fixture(scope="module")
def result() -> SearchResult:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(searching, "GRID", (3, 2))
        patch.setattr(search, "ROUNDS", 1)
        patch.setattr(search, "ROUND_SHARE", 2)
        rig = room(BOXES, population=16, currents=["10 mA", "20 mA"])
        trials, ledger, seed, count = begin(rig, built_in_shelf(), None, 3, "rig.toml")
        return search_rig(trials, ledger, seed, count, draws=20)


@pytest.fixture(scope="module")
def page_file(result: SearchResult, tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("page") / "search.html"
    file.write_bytes(search_page(result, search_picture(result)))
    return file


def test_keys_lead_from_mark_to_mark_and_axes_can_be_chosen(
    browser, page_file: Path, result: SearchResult
) -> None:
    page = browser.new_page()
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.on("request", lambda asked: asked.url.startswith("file:") or faults.append(asked.url))
    page.goto(page_file.as_uri())
    count = len(result.candidates) + (result.own is not None)
    marks = page.locator("#front .mark")
    assert marks.count() == page.locator("#room .mark").count() == count
    assert f"Number {result.chosen}, the one to take" in page.inner_text("#told")

    marks.and_(page.locator("[tabindex='0']")).focus()
    told = set()
    for _ in range(count):
        told.add(page.inner_text("#told"))
        page.keyboard.press("ArrowRight")
    assert len(told) == count
    before = page.inner_text("#told")
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("ArrowRight")
    assert page.inner_text("#told") == before
    assert "covers" in before and "2 cm off in place" in before

    chosen = page.locator(f"#front .mark[data-number='{result.chosen}']")
    assert chosen.get_attribute("aria-label").startswith(f"Number {result.chosen}, the one to take")
    assert "all targets met: " in chosen.get_attribute("aria-label")
    for key, words, _ in MEASURES[:1] + MEASURES[-1:]:
        page.select_option("#across", key)
        assert words in page.locator("#front").text_content()
    page.locator("#room .mark").last.hover()
    assert page.inner_text("#told")
    assert faults == []
    page.close()


def test_words_of_places_stand_clear_of_one_another_and_of_marks(browser, page_file: Path) -> None:
    page = browser.new_page()
    page.goto(page_file.as_uri())
    boxes = page.eval_on_selector_all(
        "#room .place, #room .mark",
        "all => all.map((one) => { const at = one.getBoundingClientRect();"
        " return [one.tagName, at.left, at.top, at.right, at.bottom]; })",
    )
    words = [each[1:] for each in boxes if each[0] == "text"]
    assert len(words) == len(BOXES)
    for number, (left, top, right, bottom) in enumerate(words):
        assert right > left
        others = words[:number] + [each[1:] for each in boxes if each[0] != "text"]
        for x0, y0, x1, y1 in others:
            assert right <= x0 or x1 <= left or bottom <= y0 or y1 <= top
    page.close()


def test_a_place_without_marks_says_so_and_is_in_no_legend(
    browser, result: SearchResult, tmp_path: Path
) -> None:
    empty = result.places[0].model_copy(update={"id": "loft"})
    more = result.model_copy(update={"places": [*result.places, empty]})
    file = tmp_path / "search.html"
    file.write_bytes(search_page(more, search_picture(more)))
    page = browser.new_page()
    page.goto(file.as_uri())
    assert "loft: none shown" in page.locator("#room").text_content()
    assert "loft" not in page.inner_text("#legend")
    page.close()


def test_without_scripts_the_still_picture_stands_there(browser, page_file: Path) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(page_file.as_uri())
    assert page.locator("noscript svg").first.is_visible()
    assert page.locator("h2").first.inner_text() == "Why this one"
    context.close()


def test_no_mark_hangs_on_colour_alone(page_file: Path) -> None:
    text = page_file.read_text(encoding="utf-8")
    assert "large and filled: the one to take" in text
