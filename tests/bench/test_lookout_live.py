"""A rehearsed head before the lookout: the real chain from frames to the eye on the page."""

import contextlib
import json
import os
import shutil
import signal
import urllib.request

import numpy as np
import pytest
from tests.exact_registration import registration_of

from rushlight.jobs.load import load_rig
from rushlight.jobs.rehearsal import space_world

SEED, RIG = 7, "paper-theatre"
NEAR_M = 0.04
"""A cap of two lights tells how far away it is no better than this on a slow, busy machine."""


@pytest.fixture(scope="module")
def theatre(tmp_path_factory, serving):
    """The theatre's rig, slower, with the registration of the world that is rehearsed."""
    folder = tmp_path_factory.mktemp("theatre")
    shutil.copytree(serving.scenarios / RIG, folder / RIG)
    file = folder / RIG / "rig.toml"
    text = file.read_text("utf-8")
    assert '"100 Hz"' in text
    file.write_text(text.replace('"100 Hz"', '"20 Hz"'), "utf-8")
    world, _ = space_world(file, SEED)
    registration_of(world, load_rig(file)[0]).write(folder / RIG / "registration.json")
    yield folder, world
    from rushlight.bench.live.control import read_place

    place = read_place(folder)
    if place is not None:
        with contextlib.suppress(OSError):
            os.kill(place.pid, signal.SIGTERM)


@pytest.fixture(scope="module")
def desk(theatre, serving):
    """A bench on it."""
    started = serving.start(theatre[0])
    yield started
    serving.stop(started)


def test_the_eye_of_a_rehearsed_head_reaches_page_and_desk(browser, desk, theatre):
    thing = theatre[1].space.things[0]
    context = browser.new_context(viewport={"width": 1280, "height": 800})
    page = context.new_page()
    page.goto(f"{desk.url}/rig/{RIG}/lookout")
    page.get_by_text("No camera finds an eye.").wait_for(timeout=60_000)
    page.locator("[data-page=lookout][href]").wait_for(timeout=60_000)
    with context.expect_page() as opened:
        page.locator("[data-page=lookout]").click()
    lookout = opened.value
    lookout.wait_for_selector("body[data-ready]", timeout=60_000)
    page.get_by_text("open; its first button").wait_for()
    lookout.locator("#start").click()
    page.get_by_text("open and begun").wait_for()
    lookout.get_by_text("No camera: the sliders are the eye.").wait_for()
    page.get_by_role("button", name="Begin to follow").click()
    lookout.get_by_text("The camera finds the eye. Simulated").wait_for(timeout=240_000)
    page.get_by_text("Simulated: a rehearsed head").wait_for(timeout=60_000)
    # Asked on the desk, seen by the camera, drawn on the lookout, told on the desk.
    middle = (thing.low_m + thing.high_m) / 2.0
    wanted = middle + 0.4 * (thing.high_m - thing.low_m) * [1.0, -1.0, 0.0]
    for axis, value in zip("xyz", wanted, strict=True):
        page.locator(f"[data-head={axis}]").fill(f"{value:.3f}")
    near = """wanted => {
      const place = document.getElementById('picture').dataset.eye.split(' ').map(Number);
      return place.every((value, i) => Math.abs(value - wanted[i]) < %g);
    }"""
    asked = np.round(wanted, 3).tolist()
    lookout.wait_for_function(near % NEAR_M, arg=asked, timeout=60_000)
    told = "wanted => Math.abs(parseFloat(document.querySelector('[data-eye=x]').textContent)"
    page.wait_for_function(f"{told} - 100 * wanted) < 100 * {NEAR_M}", arg=asked[0], timeout=60_000)
    page.get_by_role("button", name="End it").click()
    lookout.get_by_text("The eye is not seen").wait_for(timeout=60_000)
    page.get_by_text("No camera finds an eye.").wait_for(timeout=60_000)
    context.close()


def test_the_desk_s_twin_is_what_the_lookout_is_served(desk, theatre):
    from rushlight.bench.live.control import start_live

    live = start_live(theatre[0], "127.0.0.1:0")  # the desk's own, where it goes on already
    twin, served = (
        json.load(urllib.request.urlopen(address, timeout=120))
        for address in (
            f"{desk.url}/rig/{RIG}/lookout.json",
            f"{live.url}theatre.json?rig={RIG}",
        )
    )
    assert twin["pieces"] and twin == served
