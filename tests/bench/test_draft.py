"""A rig while it is changed on a page: of each map it is known which change it is the first of."""

import asyncio

from rushlight.bench.desk import draft as drafts
from rushlight.jobs.folder import RigPlace
from rushlight.jobs.glance import Glance


def test_changes_that_overlap_are_told_with_the_stamp_of_the_first_that_a_map_shows(
    monkeypatch, tmp_path
):
    async def looked(_job, _text, _folder, changes, _checked):
        told = Glance(title=changes["x"])
        await asyncio.sleep(0)
        await asyncio.sleep(0)  # meanwhile the others come
        return told

    monkeypatch.setattr(drafts, "quickly", looked)
    draft = drafts.Draft(RigPlace("wall", tmp_path / "rig.toml", "", "", [], "", []), "", "")
    shown = []

    def show(stamp_ms):
        shown.append((draft.shown.title, stamp_ms))

    async def move():
        moves = (("1 m", 100.0), ("2 m", 110.0), ("3 m", 120.0))
        await asyncio.gather(*(draft.change("x", given, at, show) for given, at in moves))
        await draft.change("x", "4 m", 500.0, show)

    asyncio.run(move())
    assert shown == [("1 m", 100.0), ("3 m", 110.0), ("4 m", 500.0)]
