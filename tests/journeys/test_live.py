"""A whole live job: frames at their own pace, followed, sent to a browser, kept, ended politely.

The frames are simulated, for want of a camera; everything after them is what a user runs.
"""

from __future__ import annotations

import itertools
import json
import re
import signal
import subprocess
import sys
import time

import numpy as np
from tests.served_bench import chromium

from rushlight.drive.lights import RUN_ENDED
from rushlight.keep.session import SessionReader


def test_a_browser_feels_both_styli_where_the_marks_stood(wall, started, tmp_path):
    home, port = wall.home, wall.pointer
    source = f"simulated:{home / 'grid'}"
    running = started(home, source, "--loop", "--out", tmp_path / "live.sqlite").process
    with chromium() as browser:
        page = browser.new_page(viewport={"width": 1280, "height": 800})
        reach(page, f"http://127.0.0.1:{port}/", running)
        page.evaluate(
            """() => { window.felt = [];
            for (const kind of ['pointerdown', 'pointerup'])
              addEventListener(kind, (e) => felt.push([kind, e.pointerId, e.clientX, e.clientY]),
                               true); }"""
        )
        page.wait_for_function(
            "() => new Set(felt.filter(f => f[0] === 'pointerdown').map(f => f[1])).size >= 2"
            " && felt.length >= 24",
            timeout=60_000,
        )
        felt = page.evaluate("() => felt")
    running.send_signal(signal.SIGTERM)
    out, err = running.communicate(timeout=30)
    assert running.returncode == 0, err
    assert "session from simulated frames as they came" in out
    goals = json.loads((home / "grid" / "footage.json").read_text())["goals"]
    # Pixels of the page: the display is drawn over the whole of it.
    marks = np.array([goal["place_m"] for goal in goals]) / [2.4, 1.5] * [1280, -800] + [0, 800]
    downs = np.array([place for kind, _, *place in felt if kind == "pointerdown"])
    off = np.linalg.norm(downs[:, None] - marks, axis=-1).min(axis=1)
    assert np.median(off) < 5.0 and off.max() < 15.0  # 2.4 m are 1280 px: a pixel is 1.9 mm
    with SessionReader(tmp_path / "live.sqlite") as reader:
        assert reader.closed and reader.basis == "simulated"
        fixes = reader.fix_table()
        events, left = reader.event_table(), reader.departure_table()
    assert len(fixes["sent_ns"]) > 100
    # Presses and releases bear the moments of every stage too, in the order of time.
    switched = np.isin(events["kind"], ["switch-down", "switch-up"])
    assert np.count_nonzero(switched) >= 24
    switched &= events["detail"] != RUN_ENDED  # no frame told the end of what was lit then
    # A fix that no camera stands behind, while a light is missed, was detected by none.
    made = {name: column[~fixes["predicted"].astype(bool)] for name, column in fixes.items()}
    for table in (made, {name: column[switched] for name, column in events.items()}):
        stages = [table[f"{stage}_ns"] for stage in ("capture", "detect", "map", "sent")]
        assert all((earlier >= 0).all() for earlier in stages)
        for earlier, later in itertools.pairwise(stages):
            assert (earlier <= later).all()
    assert (events["time_ns"][switched] <= events["capture_ns"][switched]).all()
    assert set(left["output"]) == {"pointer", "session"}
    # Whatever was mapped together left by the socket as its newest frame's, and was saved.
    newest = {}
    for mapped_ns, frame in zip(made["map_ns"].tolist(), made["frame"].tolist(), strict=True):
        newest[mapped_ns] = max(frame, newest.get(mapped_ns, 0))
    for output in ("pointer", "session"):
        frames = set(left["frame"][left["output"] == output].tolist())
        assert set(newest.values()) <= frames
    for word in ("place", "press", "release"):
        assert re.search(rf"{word} +pointer +\d", out), out


def reach(page, address, running):
    """Open the page as soon as the run serves it."""
    until = time.monotonic() + 300  # the first run compiles the kernels, on a machine at work
    while True:
        try:
            page.goto(address)
            return
        except Exception:
            if running.poll() is not None or time.monotonic() > until:
                running.kill()
                raise AssertionError(running.communicate()[1]) from None
            time.sleep(0.3)


def test_lines_are_one_object_each_and_the_summary_goes_elsewhere(wall, started, tmp_path):
    source = f"simulated:{wall.home / 'grid'}"
    running = started(
        wall.home, source, "--output", "lines", "--for", "4 s", "--ahead", "20 ms", "--out",
        tmp_path / "lines.sqlite",
    ).process  # fmt: skip
    out, err = running.communicate(timeout=90)
    assert running.returncode == 0, err
    told = [json.loads(line) for line in out.splitlines()]
    fixes = [fix for line in told for fix in line["fixes"]]
    assert len(fixes) > 30 and "session from simulated" in err
    # Foretold where they are sent, kept as they were seen.
    assert all(fix["predicted"] for fix in fixes)
    assert {fix["valid_ns"] - fix["capture_ns"] for fix in fixes} == {20_000_000}
    with SessionReader(tmp_path / "lines.sqlite") as reader:
        assert not reader.fix_table()["predicted"].all()
        events = [(event.kind, event.trail) for event in reader.events()]
    # However it ends, every press has its end, in what is sent as in what is kept.
    sent = [(event["kind"], event["trail"]) for line in told for event in line["events"]]
    for each in (events, sent):
        downs, ups = (
            sorted(t for kind, t in each if kind == f"switch-{way}") for way in ("down", "up")
        )
        assert downs == ups and downs


def test_a_live_run_without_a_map_sends_nothing_and_says_so(wall, tmp_path):
    home = wall.home
    command = [
        sys.executable, "-m", "rushlight", "run", "--camera", f"simulated:{home / 'grid'}",
        "--output", "osc", "--out", str(tmp_path / "none.sqlite"),
    ]  # fmt: skip
    done = subprocess.run(command, capture_output=True, text=True, timeout=60)
    assert done.returncode == 2
    assert done.stderr.splitlines()[-1] == (
        "output = osc needs places on the surface, and without a rig and a registration there are "
        "none; give --rig and --registration."
    )
    assert not (tmp_path / "none.sqlite").exists()
