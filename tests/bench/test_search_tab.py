"""A tab of the Search page while a search runs that it did not begin; the search is a stand-in."""

import asyncio
from pathlib import Path
from types import SimpleNamespace

import pytest

from rushlight.bench.desk import page_search
from rushlight.bench.texts import text


class Shown:
    """A page of one tab whose drawing only notes what it would show."""

    def __init__(self, monkeypatch, result):
        self.noted = []
        monkeypatch.setattr(page_search, "_running", set())
        monkeypatch.setattr(
            page_search, "so_far", lambda _: SimpleNamespace(tried=5, generations=2, front=[])
        )
        self.page = page_search.SearchPage.__new__(page_search.SearchPage)
        self.page._place = SimpleNamespace(file=Path("rig.toml"))
        self.page._result, self.page._ran, self.page._picked = result, False, 3
        self.page._say = self.noted.append
        self.page._show_front = lambda *_: None
        self.page._show_result = self.show

    async def show(self):
        self.noted.append(self.page._result)

    def look(self, runs):
        if runs:
            page_search._running.add(self.page._key)
        else:
            page_search._running.discard(self.page._key)
        self.noted.clear()
        asyncio.run(self.page._look())
        return list(self.noted)


@pytest.mark.parametrize("before", [None, "an earlier result"])
@pytest.mark.parametrize("found", [None, "a new result"])
def test_a_tab_sees_the_end_of_a_search_that_another_began(monkeypatch, before, found):
    tab = Shown(monkeypatch, before)
    monkeypatch.setattr(page_search, "kept_search", lambda _: None)
    assert tab.look(runs=False) == []
    assert tab.look(runs=True) == [text("search.busy", tried=5, generations=2)]
    monkeypatch.setattr(page_search, "kept_search", lambda _: found)
    assert tab.look(runs=False) == ["", found] and tab.page._picked == 0
    if before or found:
        assert tab.look(runs=False) == [], "it is told once"
