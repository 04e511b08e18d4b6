"""The Search page: its picture grows while a search runs, and tells what the command tells."""

import json
import re
import shutil
import subprocess
import sys
import urllib.error
import urllib.request

import pytest
from tests.served_bench import barriers

SMALL = {"population = 60": "population = 8", "generations = 12": "generations = 80"}
WATCH = """() => {
  window.seen = [];
  const box = document.querySelector(".front");
  new MutationObserver(() => seen.push({
    dots: box.querySelectorAll(".front-dot").length,
    numbered: box.querySelectorAll(".front-dot[data-number]").length,
    words: document.querySelector(".desk-main [role=status]").innerText,
  })).observe(document.body, {childList: true, subtree: true});
}"""


@pytest.fixture(scope="module")
def searched(serving, tmp_path_factory):
    """A bench on the barn wall with a search of few candidates."""
    folder = tmp_path_factory.mktemp("searched")
    shutil.copytree(serving.scenarios / "barn-wall", folder / "barn-wall")
    file = folder / "barn-wall" / "rig.toml"
    words = file.read_text(encoding="utf-8")
    for old, new in SMALL.items():
        assert old in words
        words = words.replace(old, new)
    file.write_text(words, encoding="utf-8")
    started = serving.start(folder)
    yield started
    serving.stop(started)


def twin(bench):
    """The page's twin."""
    with urllib.request.urlopen(f"{bench.url}/rig/barn-wall/search.json", timeout=60) as answer:
        return json.load(answer)


def test_a_search_is_told_by_page_and_command_alike_and_grows_as_it_runs(searched, page):
    rig = searched.folder / "barn-wall"
    # Asking for the twin begins no work of minutes: it says how to begin it.
    with pytest.raises(urllib.error.HTTPError) as refused:
        twin(searched)
    with refused.value as answer:
        found = json.load(answer)["findings"]
    assert refused.value.code == 409 and found[0]["code"] == "search-missing"
    assert f"rushlight search {rig}" in found[0]["remedy"]
    assert not (rig / "search").exists()

    page.goto(f"{searched.url}/rig/barn-wall/search")
    page.locator(".room-camera").first.wait_for(timeout=300_000)
    page.evaluate(WATCH)
    page.get_by_role("button", name="Search", exact=True).press("Enter")
    page.locator(".front-dot[data-number]").first.wait_for(timeout=300_000)
    growing = [each for each in page.evaluate("seen") if each["dots"] and not each["numbered"]]
    tried = [
        int(found[1]) for each in growing if (found := re.search(r"(\d+) cand", each["words"]))
    ]
    assert growing and len(set(tried)) >= 2 and tried == sorted(tried)

    kept = twin(searched)
    assert page.locator(".front-dot").count() == len(kept["candidates"])
    page.locator(".front-dot").last.press("Enter")
    number = page.locator(".front-dot").last.get_attribute("data-number")
    page.get_by_role("heading", name=f"Number {number}").wait_for()
    chosen = page.locator("details [aria-pressed=true]")  # in the list, which need not be open
    chosen.filter(has_text=f"Number {number}:").wait_for(state="attached")
    assert chosen.count() == 1
    assert barriers(page) == []
    page.get_by_role("button", name=f"Try number {number} on the plan page").press("Enter")
    page.wait_for_url("**/rig/barn-wall/plan")
    page.get_by_text("Not saved yet.").wait_for(timeout=300_000)

    shutil.rmtree(rig / "search")
    done = subprocess.run(
        [sys.executable, "-m", "rushlight", "search", str(rig), "--json"],
        capture_output=True, text=True, check=True, timeout=600,
    )  # fmt: skip
    printed = json.loads(done.stdout)
    assert twin(searched) == printed
    for document in (kept, printed):
        del document["header"]["made_at"]
    assert kept == printed
