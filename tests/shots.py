"""Pictures of every page of the bench at three sizes, to be looked at by people; no test.

Run by hand, from the folder of the repository, with a folder for the pictures::

    python tests/shots.py /tmp/shots
    python tests/shots.py /tmp/shots --dark --locale xx-rtl --only plan lookout

It serves a bench of its own on copies of the four invented rigs, keeps a coarse plan of each of two
so that their pages are full, and writes ``PAGE-WIDTHxHEIGHT.png``: desk pages as long as they are,
display pages as large as the screen, before and after they are begun where that needs no camera. It
says of each page what sticks out sideways.
"""

from __future__ import annotations

import argparse
import os
import shutil
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from tests.served_bench import chromium, start_bench, stop_bench

import rushlight
from rushlight.bench.live.control import start_live

SCENARIOS = Path(rushlight.__file__).parent / "jobs" / "scenarios"
SIZES = ((1280, 800), (1920, 1080), (390, 844))
STAGES = (
    "plan", "search", "build", "aim", "survey", "register", "watch", "ready", "try", "lookout",
    "results", "kit",
)  # fmt: skip
BEGUN = {"survey-page": "#begin", "lookout-page": "#start"}
"""What begins a display page that needs no camera."""
RIGS = ("barn-wall", "paper-theatre")
DISPLAY = {
    "display": "",
    "survey-page": "survey?rig=barn-wall",
    "beacons": "beacons",
    "steps": "steps",
    "planting": "planting",
    "picture": "picture",
    "try-page": "try?rig=barn-wall&task=ring",
    "lookout-page": "lookout?rig=paper-theatre",
}
IN_PLACE = ".savebar { position: static }"
"""What keeps to the edge of a screen would stand in the midst of a picture of the whole page."""
SETTLE_MS = 6000
"""Time for a page to draw what its job told [ms]; our own choice, for a machine of two cores."""


def keep_plans(folder: Path) -> None:
    """Plans on few places, as if the rigs had been planned."""
    from rushlight.jobs.plan import planned_rig
    from rushlight.jobs.plan_space import planned_space

    wall, theatre = (folder / name for name in RIGS)
    for rig, made in (
        (wall, planned_rig(wall, (2, 2)).plan),
        (theatre, planned_space(theatre, cells=(2, 2, 2)).plan),
    ):
        made.stamped("predicted", inputs={"rig": made.rig}).write(rig / "plan" / "plan.json")


def pages(bench) -> dict[str, str]:
    """Name of each picture to the address of its page."""
    found = {"start": bench.url + "/"}
    for rig in RIGS:
        found |= {f"{rig}-{stage}": f"{bench.url}/rig/{rig}/{stage}" for stage in STAGES}
    live = start_live(bench.folder, "127.0.0.1:0")  # which the desk finds
    found |= {name: live.url + path for name, path in DISPLAY.items()}
    return found


def shoot(page, name: str, address: str, out: Path, settle_ms: int) -> None:
    """One page at every size."""
    page.set_viewport_size({"width": 1280, "height": 800})
    page.goto(address)
    page.wait_for_timeout(settle_ms)
    whole = page.locator(".desk").count() > 0
    names = [name]
    if name in BEGUN and page.locator(f"{BEGUN[name]}:enabled").count():
        names.append(f"{name}-begun")
    for shown in names:
        if shown.endswith("-begun"):
            page.click(BEGUN[name])
        for width, height in SIZES:
            page.set_viewport_size({"width": width, "height": height})
            page.wait_for_timeout(400)
            beyond = page.evaluate("document.documentElement.scrollWidth - innerWidth")
            path = out / f"{shown}-{width}x{height}.png"
            page.screenshot(path=path, full_page=whole, style=IN_PLACE)
            print(path, f"sticks out by {beyond} px" if beyond > 0 else "", flush=True)


def main() -> None:
    """Take all of them."""
    asked = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    asked.add_argument("out", type=Path, help="folder for the pictures")
    asked.add_argument("--dark", action="store_true", help="in the dark theme")
    asked.add_argument("--locale", default="en", help="of the pages, such as xx-rtl")
    asked.add_argument("--only", nargs="*", default=[], help="words in the names of pages")
    asked.add_argument("--settle", type=int, default=SETTLE_MS, help="wait for each page [ms]")
    given = asked.parse_args()
    given.out.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        for scenario in SCENARIOS.iterdir():
            if (scenario / "rig.toml").exists():
                shutil.copytree(scenario, folder / scenario.name)
        keep_plans(folder)
        os.environ["RUSHLIGHT_LOCALE"] = given.locale
        bench = start_bench(folder)
        try:
            with chromium() as browser:
                page = browser.new_page(
                    reduced_motion="reduce", color_scheme="dark" if given.dark else "light"
                )
                for name, address in pages(bench).items():
                    if not given.only or any(word in name for word in given.only):
                        shoot(page, name, address, given.out, given.settle)
        finally:
            stop_bench(bench, may_fail=True)


if __name__ == "__main__":
    main()
