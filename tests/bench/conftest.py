"""A bench on rigs of its own, served by a real process on loopback."""

import shutil
from pathlib import Path
from types import SimpleNamespace

import pytest
from tests.served_bench import chromium, start_bench, stop_bench

import rushlight

SCENARIOS = Path(rushlight.__file__).parent / "jobs" / "scenarios"


@pytest.fixture(scope="session")
def serving():
    """How to start and end a bench."""
    return SimpleNamespace(start=start_bench, stop=stop_bench, scenarios=SCENARIOS)


@pytest.fixture(scope="session")
def bench(tmp_path_factory):
    """A bench on the four invented rigs; a test that changes one for good copies it first."""
    folder = tmp_path_factory.mktemp("bench")
    for scenario in SCENARIOS.iterdir():
        if scenario.is_dir() and (scenario / "rig.toml").exists():
            shutil.copytree(scenario, folder / scenario.name)
    started = start_bench(folder)
    yield started
    stop_bench(started)


@pytest.fixture(scope="module")
def browser():
    """A real Chromium, or a loud skip."""
    with chromium() as started:
        yield started


@pytest.fixture
def page(browser):
    """A tab of 1280 × 800 px."""
    context = browser.new_context(viewport={"width": 1280, "height": 800})
    yield context.new_page()
    context.close()
